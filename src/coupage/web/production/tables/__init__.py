"""Sizes, the ledger of roasted coffee, runs, bags and dispatches as tables."""

from __future__ import annotations

from coupage.web.common.doors import Door
from coupage.web.production.tables.bags import bag_rows, bags_layout, run_rows, runs_layout
from coupage.web.production.tables.dispatches import (
    DISPATCHES,
    dispatch_rows,
    dispatches_layout,
)
from coupage.web.production.tables.roasted import ROASTED, roasted_layout, roasted_rows
from coupage.web.production.tables.sizes import SIZES, size_rows, sizes_layout

__all__ = ["DOORS"]

DOORS = (
    Door("sizes", sizes_layout, size_rows, SIZES),
    Door("roasted", roasted_layout, roasted_rows, ROASTED),
    Door("runs", runs_layout, run_rows),
    Door("bags", bags_layout, bag_rows),
    Door("dispatches", dispatches_layout, dispatch_rows, DISPATCHES),
)
