from django.apps import AppConfig

from coupage.web.common.invariants import Trigger, guard, kept_ledger

_RUN_OF = (
    "FROM production_run r JOIN production_packed p ON p.run_id = r.id WHERE p.id = NEW.packed_id"
)
_OUT = "(SELECT COALESCE(SUM(bags), 0) FROM production_bagentry WHERE line_id = NEW.line_id)"


class ProductionConfig(AppConfig):
    name = "coupage.web.production"
    label = "production"
    verbose_name = "Production"

    def ready(self) -> None:
        guard(
            self,
            [
                *kept_ledger(
                    "production_blendedentry",
                    parent="production_run",
                    link="run_id",
                    amount="mass_g",
                    short="not so much loose blend of this run is on hand at that date",
                ),
                *kept_ledger(
                    "production_bagentry",
                    parent="production_packed",
                    link="packed_id",
                    amount="bags",
                    short="not so many of these bags are on hand at that date",
                ),
                Trigger(
                    name="production_bagentry_hold",
                    table="production_bagentry",
                    event="INSERT",
                    refuse_when=(
                        f"NEW.kind = 'sent' AND (SELECT r.held OR r.state = 'void' {_RUN_OF})"
                    ),
                    message="this lot is on hold or void; it cannot be sent",
                    first=f"PERFORM 1 {_RUN_OF} FOR NO KEY UPDATE;",
                ),
                Trigger(
                    name="production_bagentry_back",
                    table="production_bagentry",
                    event="INSERT",
                    refuse_when=f"NEW.kind = 'returned' AND {_OUT} + NEW.bags > 0",
                    message="more bags cannot come back than were sent",
                    first="PERFORM 1 FROM production_packed WHERE id = NEW.packed_id "
                    "FOR NO KEY UPDATE;",
                ),
            ],
        )
