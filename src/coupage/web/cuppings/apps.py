from django.apps import AppConfig

from coupage.units import PPM
from coupage.web.common.invariants import Trigger, guard, sealed_sum


def _one_table(of: str, row: str) -> str:
    return f"(SELECT cupping_id FROM cuppings_{of} WHERE id = NEW.{row})"


def _belongs(table: str, *condition: str) -> list[Trigger]:
    """Refuse a row that joins things of two tables; a key that points nowhere is refused too."""
    return [
        Trigger(
            f"cuppings_{table}_{name}",
            f"cuppings_{table}",
            event,
            f"NOT COALESCE({' AND '.join(condition)}, {{false}})".replace("{false}", "1 = 0"),
            f"a {table} joins a cup, a seat, a pass or an attribute of different cuppings",
        )
        for name, event in [("put", "INSERT"), ("move", "UPDATE")]
    ]


class CuppingsConfig(AppConfig):
    name = "coupage.web.cuppings"
    label = "cuppings"
    verbose_name = "Cuppings"

    def ready(self) -> None:
        cup, seat, round_ = (
            _one_table("cup", "cup_id"),
            _one_table("seat", "seat_id"),
            _one_table("cuppingpass", "round_id"),
        )
        asked = (
            "EXISTS (SELECT 1 FROM cuppings_cuppingattribute a "
            f"WHERE a.attribute_id = NEW.attribute_id AND a.cupping_id = {cup})"
        )
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
                *_belongs("rating", f"{cup} = {seat}", f"{cup} = {round_}", asked),
                *_belongs("word", f"{cup} = {seat}"),
                *_belongs("serving", f"{cup} = {seat}"),
                Trigger(
                    "cuppings_cup_sealed",
                    "cuppings_cup",
                    "INSERT",
                    "NOT COALESCE((SELECT sealed FROM cuppings_sample WHERE id = NEW.sample_id), 1 = 0)",
                    "a sample goes on a table only when its shares add up to 100 %",
                ),
            ],
        )
