"""What a table that is open asks for, by what phones know: codes of cups, keys of passes."""

from __future__ import annotations

from dataclasses import dataclass

from coupage.web.cuppings.models import Cupping

__all__ = ["Layout", "layout_of"]


@dataclass(frozen=True, slots=True)
class Layout:
    """The cups by code, and the keys of passes and attributes."""

    cups: dict[str, int]
    rounds: frozenset[int]
    asked: frozenset[int]


def layout_of(table: Cupping) -> Layout:
    """Return the layout of a table.

    Cups, passes and attributes are only changed while a table is being set up.
    """
    return Layout(
        cups=dict(table.cups.order_by().values_list("code", "pk")),
        rounds=frozenset(table.rounds.order_by().values_list("pk", flat=True)),
        asked=frozenset(table.asked.order_by().values_list("attribute_id", flat=True)),
    )
