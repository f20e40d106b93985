"""Recipes as a table: one row a share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.units import PPM, show_share, whole_shares
from coupage.web.blends import actions, queries
from coupage.web.blends.models import Blend
from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import approaches
from coupage.web.common.doors import numbered, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.people.models import Person

# Thirds written with six digits or more still mean a whole.
_ROUNDING = Decimal("0.000001")


def recipes_layout() -> Layout:
    return Layout(
        "recipes",
        (
            Column("blend", "text"),
            Column("version", "integer", low=1),
            Column("lot", "text"),
            Column("approach", "text"),
            Column("share", "share"),
            Column("reason", "text", required=False, default=""),
        ),
        key=("blend", "version", "lot", "approach"),
        description="Recipes, one row a share. They come in as trials of new versions.",
    )


def _recipes_in(table: Table) -> dict[tuple[str, int], list[tuple[int, dict[str, Any]]]]:
    gathered: dict[tuple[str, int], list[tuple[int, dict[str, Any]]]] = {}
    for number, row in numbered(table):
        values: Any = row
        gathered.setdefault((values["blend"], values["version"]), []).append((number, values))
    return gathered


def _components() -> dict[tuple[str, str], Approach]:
    return {(approach.lot.name, approach.name): approach for approach in approaches()}


def _plan_recipes(table: Table) -> Plan:
    known = {(r.blend.name, r.version) for r in queries.recipes()}
    newest: dict[str, int] = {}
    for blend, version in known:
        newest[blend] = max(version, newest.get(blend, 0))
    components = _components()
    problems: list[FileProblem] = []
    for (blend, version), rows in sorted(_recipes_in(table).items()):
        at = rows[0][0]
        if (blend, version) in known:
            problems.append(FileProblem(at, "version", f"{blend} has a version {version} already"))
        elif version != newest.get(blend, 0) + 1:
            problems.append(
                FileProblem(
                    at, "version", f"the next version of {blend} is {newest.get(blend, 0) + 1}"
                )
            )
        newest[blend] = max(version, newest.get(blend, 0))
        for number, row in rows:
            if (row["lot"], row["approach"]) not in components:
                problems.append(
                    FileProblem(
                        number,
                        "approach",
                        f"there is no lot {row['lot']!r} by {row['approach']!r}",
                    )
                )
            if row["share"] <= 0:
                problems.append(FileProblem(number, "share", "must be more than 0 %"))
        total = sum(row["share"] for _, row in rows)
        if abs(total - 1) > _ROUNDING:
            problems.append(
                FileProblem(
                    at,
                    "share",
                    f"the shares of {blend}, version {version}, add up to "
                    f"{show_share(int(total * PPM))}; they must add up to 100 %",
                )
            )
    return Plan(
        (rows_said(len(_recipes_in(table)), "new trial recipe", "new trial recipes"),),
        tuple(problems),
    )


def _apply_recipes(table: Table, *, by: Person, at: dt.datetime) -> str:
    components = _components()
    gathered = sorted(_recipes_in(table).items())
    for (name, _), rows in gathered:
        blend = Blend.objects.filter(name=name).first() or actions.add_blend(
            blend=Blend(name=name), by=by, at=at
        )
        actions.add_recipe(
            blend=blend,
            shares=dict(
                zip(
                    (components[row["lot"], row["approach"]] for _, row in rows),
                    whole_shares([float(row["share"]) for _, row in rows]),
                    strict=True,
                )
            ),
            reason=rows[0][1]["reason"],
            by=by,
            at=at,
        )
    return f"{rows_said(len(gathered), 'recipe is', 'recipes are')} in."


def recipe_rows() -> Iterator[dict[str, object]]:
    for recipe in queries.recipes().order_by("blend__name", "version"):
        for share in recipe.shares.all():
            yield {
                "blend": recipe.blend.name,
                "version": recipe.version,
                "lot": share.approach.lot.name,
                "approach": share.approach.name,
                "share": Decimal(share.share_ppm) / PPM,
                "reason": recipe.reason,
            }


RECIPES = Exchange(
    "recipes", "Import recipes", recipes_layout, _plan_recipes, _apply_recipes, "blends:index"
)
