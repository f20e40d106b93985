from django.apps import AppConfig

from coupage.web.common.invariants import Trigger, guard, kept_ledger

_LEDGER, _PROMISED = "coffees_stockentry", "coffees_reservation"
_LOCK = "PERFORM 1 FROM coffees_lot WHERE id = NEW.lot_id FOR NO KEY UPDATE;"
# Batches stand above this app; the database sees all tables alike.
_ROASTED = (
    "(SELECT COALESCE(SUM(b.green_g), 0) FROM batches_batch b "
    "JOIN coffees_approachversion v ON v.id = b.approach_version_id "
    "JOIN coffees_approach a ON a.id = v.approach_id "
    "WHERE a.lot_id = NEW.lot_id AND NOT b.void)"
)
_ENTERED = f"(SELECT COALESCE(SUM(mass_g), 0) FROM {_LEDGER} WHERE lot_id = NEW.lot_id)"
_HELD = f"(SELECT COALESCE(SUM(mass_g), 0) FROM {_PROMISED} WHERE lot_id = NEW.lot_id)"
_HELD_FOR_IT = (
    f"(SELECT COALESCE(SUM(mass_g), 0) FROM {_PROMISED} "
    "WHERE lot_id = NEW.lot_id AND purpose = NEW.purpose)"
)


class CoffeesConfig(AppConfig):
    name = "coupage.web.coffees"
    label = "coffees"
    verbose_name = "Coffees"

    def ready(self) -> None:
        _, moved, taken = kept_ledger(
            _LEDGER, parent="coffees_lot", link="lot_id", amount="mass_g", short=""
        )
        _, promise_moved, promise_taken = kept_ledger(
            _PROMISED, parent="coffees_lot", link="lot_id", amount="mass_g", short=""
        )
        guard(
            self,
            [
                moved,
                taken,
                promise_moved,
                promise_taken,
                # What was roasted was roasted, whatever the books say; only what a person takes
                # out is held to them.
                Trigger(
                    f"{_LEDGER}_put",
                    _LEDGER,
                    "INSERT",
                    f"NEW.mass_g < 0 AND {_ENTERED} - {_ROASTED} + NEW.mass_g < 0",
                    "not so much of this lot is on hand",
                    first=_LOCK,
                ),
                Trigger(
                    f"{_LEDGER}_sold",
                    _LEDGER,
                    "INSERT",
                    f"NEW.kind = 'sold' AND {_ENTERED} - {_ROASTED} - {_HELD} + NEW.mass_g < 0",
                    "so much of this lot is not free; the rest is promised to planned roasts",
                    first=_LOCK,
                ),
                Trigger(
                    f"{_PROMISED}_put",
                    _PROMISED,
                    "INSERT",
                    f"NEW.mass_g > 0 AND {_ENTERED} - {_ROASTED} - {_HELD} - NEW.mass_g < 0",
                    "so much of this lot is not free",
                    first=_LOCK,
                ),
                Trigger(
                    f"{_PROMISED}_back",
                    _PROMISED,
                    "INSERT",
                    f"NEW.mass_g < 0 AND {_HELD_FOR_IT} + NEW.mass_g < 0",
                    "more is let go of than was promised",
                    first=_LOCK,
                ),
            ],
        )
