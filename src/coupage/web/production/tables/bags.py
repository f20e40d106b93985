"""Runs and bags as tables that go out; they are made at the blender, not in a file."""

from __future__ import annotations

from collections.abc import Iterator

from coupage.sheets import Column, Layout
from coupage.web.common.doors import kilograms
from coupage.web.production import queries
from coupage.web.production.models import Run

__all__ = ["bag_rows", "bags_layout", "run_rows", "runs_layout"]


def runs_layout() -> Layout:
    return Layout(
        "runs",
        (
            Column("lot code", "text"),
            Column("day", "date"),
            Column("blend", "text"),
            Column("recipe", "integer", help="Version of the recipe."),
            Column("state", "choice", choices=tuple(Run.State.values)),
            Column("on hold", "yes-no", required=False, default=False),
            Column("from", "text", help="Number of a batch, or lot code of an earlier run."),
            Column("coffee", "text", required=False, default=""),
            Column("planned", "number", unit="kg"),
            Column("weighed", "number", unit="kg"),
        ),
        description="Blending runs, one row for each batch that went in.",
    )


def run_rows() -> Iterator[dict[str, object]]:
    rows = queries.parts().select_related("run__recipe__blend").order_by("run__on", "run", "place")
    for part in rows:
        run = part.run
        source = part.source.lot_code if part.source else ""
        yield {
            "lot code": run.lot_code,
            "day": run.on,
            "blend": run.recipe.blend.name,
            "recipe": run.recipe.version,
            "state": run.state,
            "on hold": run.held,
            "from": part.batch.number if part.batch else source,
            "coffee": str(part.approach or ""),
            "planned": kilograms(part.planned_g),
            "weighed": kilograms(part.weighed_g),
        }


def bags_layout() -> Layout:
    return Layout(
        "bags",
        (
            Column("lot code", "text"),
            Column("blend", "text"),
            Column("bag", "integer", unit="g"),
            Column("best before", "date"),
            Column("packed", "integer"),
            Column("here", "integer"),
            Column("with customers", "integer"),
        ),
        key=("lot code", "blend", "bag"),
        description="Packed bags by lot and size: made, on the shelf, with customers.",
    )


def bag_rows() -> Iterator[dict[str, object]]:
    for row in queries.packed().order_by("run__on", "run", "pack__bag_g"):
        yield {
            "lot code": row.run.lot_code,
            "blend": row.pack.blend.name,
            "bag": row.pack.bag_g,
            "best before": row.run.best_before,
            "packed": row.made,
            "here": row.on_hand,
            "with customers": row.out,
        }
