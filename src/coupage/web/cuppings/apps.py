from django.apps import AppConfig

from coupage.units import PPM
from coupage.web.common.invariants import Trigger, guard, sealed_sum


def _cupping(table: str, row: str) -> str:
    """Return the cupping that a new row's key leads to."""
    return f"(SELECT cupping_id FROM cuppings_{table} WHERE id = NEW.{row})"


def _one_cupping(table: str, *conditions: str) -> list[Trigger]:
    """Refuse rows that join things of different cuppings; keys that lead nowhere too."""
    holds = " AND ".join(conditions)
    return [
        Trigger(
            name=f"cuppings_{table}_{name}",
            table=f"cuppings_{table}",
            event=event,
            refuse_when=f"NOT COALESCE({holds}, 1 = 0)",
            message=f"a {table} cannot join things of different cuppings",
        )
        for name, event in [("put", "INSERT"), ("move", "UPDATE")]
    ]


class CuppingsConfig(AppConfig):
    name = "coupage.web.cuppings"
    label = "cuppings"
    verbose_name = "Cuppings"

    def ready(self) -> None:
        cup, seat = _cupping("cup", "cup_id"), _cupping("seat", "seat_id")
        asked = (
            "EXISTS (SELECT 1 FROM cuppings_cuppingattribute a "
            f"WHERE a.attribute_id = NEW.attribute_id AND a.cupping_id = {cup})"
        )
        one_seat = f"{cup} = {seat}"
        sample_sealed = "(SELECT sealed FROM cuppings_sample WHERE id = NEW.sample_id{lock})"
        guard(
            self,
            [
                *sealed_sum(
                    parent="cuppings_sample",
                    child="cuppings_part",
                    link="sample_id",
                    of="a sample",
                    total=PPM,
                ),
                *_one_cupping(
                    "rating", one_seat, f"{cup} = {_cupping('cuppingpass', 'round_id')}", asked
                ),
                *_one_cupping("word", one_seat),
                *_one_cupping("serving", one_seat),
                Trigger(
                    name="cuppings_cup_sealed",
                    table="cuppings_cup",
                    event="INSERT",
                    refuse_when=f"NOT COALESCE({sample_sealed}, 1 = 0)",
                    message="a sample goes on a table only when its shares add up to 100 %",
                ),
            ],
        )
