from django.apps import AppConfig

from coupage.web.common.invariants import Trigger, guard


class LiveConfig(AppConfig):
    name = "coupage.web.live"
    label = "live"
    verbose_name = "Live table"

    def ready(self) -> None:
        from coupage.web.live import joining
        from coupage.web.live.seats import CuppingSeats

        joining.register("cupping", CuppingSeats())
        guard(self, _of_one_table())


def _of_one_table() -> list[Trigger]:
    """Refuse touches and marks that join a cup, a seat or a pass of different cuppings."""
    found = []
    for table, keys in {"touch": ("cup", "round"), "faultmark": ("cup",)}.items():
        for key in keys:
            of = "cuppingpass" if key == "round" else key
            other = f"(SELECT cupping_id FROM cuppings_{of} WHERE id = NEW.{key}_id)"  # noqa: S608
            own = "(SELECT cupping_id FROM cuppings_seat WHERE id = NEW.seat_id)"
            apart = f"NEW.{key}_id IS NOT NULL AND NOT COALESCE({other} = {own}, 1 = 0)"
            found += [
                Trigger(
                    name=f"live_{table}_{key}_{name}",
                    table=f"live_{table}",
                    event=event,
                    refuse_when=apart,
                    message=f"a {table} cannot join things of different cuppings",
                )
                for name, event in [("put", "INSERT"), ("move", "UPDATE")]
            ]
    return found
