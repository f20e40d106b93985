"""Sizes in which blends are sold, as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from coupage.errors import FileProblem, InputError
from coupage.sheets import Column, Layout, Table
from coupage.web.blends.models import Blend
from coupage.web.common.doors import numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.people.models import Person
from coupage.web.production import actions
from coupage.web.production.gs1 import checked_gtin
from coupage.web.production.models import Pack

__all__ = ["SIZES", "size_rows", "sizes_layout"]

_COLUMNS = {
    "bag_g": "bag",
    "gtin": "item number",
    "per_box": "bags in a box",
    "box_gtin": "box number",
}
Row = dict[str, Any]


def sizes_layout() -> Layout:
    return Layout(
        "sizes",
        (
            Column("blend", "text"),
            Column("bag", "integer", unit="g", low=10, high=1_000_000, aliases=("size",)),
            Column("item number", "text", required=False, default="", aliases=("gtin",)),
            Column("bags in a box", "integer", required=False, low=1, high=10_000),
            Column("box number", "text", required=False, default=""),
        ),
        key=("blend", "bag"),
        description="Sizes in which blends are sold, with your own item numbers (GTIN).",
    )


def _size_of(row: Row, pack: Pack, blend: Blend | None) -> Pack:
    if blend is not None:
        pack.blend = blend
    pack.bag_g, pack.per_box = row["bag"], row["bags in a box"]
    pack.gtin, pack.box_gtin = row["item number"], row["box number"]
    return pack


def _known() -> dict[tuple[str, int], Pack]:
    return {(p.blend.name, p.bag_g): p for p in Pack.objects.select_related("blend")}


def _plan(table: Table) -> Plan:
    blends, known = {b.name: b for b in Blend.objects.all()}, _known()
    taken = {pack.gtin: key for key, pack in known.items() if pack.gtin}
    problems: list[FileProblem] = []
    new = 0
    for number, found in numbered(table):
        row: Row = dict(found)
        key = (str(row["blend"]), int(row["bag"]))
        new += key not in known
        if key[0] not in blends:
            problems.append(FileProblem(number, "blend", f"there is no blend {key[0]!r}"))
        for column in ("item number", "box number"):
            try:
                row[column] = checked_gtin(row[column]) if row[column] else ""
            except InputError as problem:
                problems.append(FileProblem(number, column, str(problem)))
        if row["item number"] and taken.setdefault(row["item number"], key) != key:
            problems.append(FileProblem(number, "item number", "another size has this number"))
        pack = _size_of(row, known.get(key) or Pack(), blends.get(key[0]))
        kept = ["blend", "gtin", "box_gtin"]
        problems += problems_of(pack, number, _COLUMNS, exclude=kept, unique=False)
    return Plan((rows_said(new, "new size", "new sizes"),), tuple(problems))


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    blends, known = {b.name: b for b in Blend.objects.all()}, _known()
    for found in table.rows:
        row: Row = dict(found)
        blend = blends[str(row["blend"])]
        there = known.get((blend.name, int(row["bag"])))
        if there is None:
            actions.add_pack(pack=_size_of(row, Pack(), blend), by=by, at=at)
        else:
            actions.change_pack(pack=_size_of(row, there, blend), by=by, at=at)
    return f"{rows_said(len(table.rows), 'size is', 'sizes are')} in."


def size_rows() -> Iterator[dict[str, object]]:
    for pack in Pack.objects.select_related("blend"):
        row: dict[str, object] = {c: getattr(pack, f) for f, c in _COLUMNS.items()}
        yield row | {"blend": pack.blend.name}


SIZES = Exchange("sizes", "Import sizes", sizes_layout, _plan, _apply, "production:sizes")
