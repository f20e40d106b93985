"""Lots, stock and approaches as tables that come in and go out."""

from __future__ import annotations

from coupage.web.coffees.tables.approaches import APPROACHES, approach_rows, approaches_layout
from coupage.web.coffees.tables.lots import LOTS, lot_rows, lots_layout
from coupage.web.coffees.tables.stock import STOCK, stock_layout, stock_rows
from coupage.web.common.doors import Door

__all__ = ["DOORS"]

DOORS = (
    Door("lots", lots_layout, lot_rows, LOTS),
    Door("stock", stock_layout, stock_rows, STOCK),
    Door("approaches", approaches_layout, approach_rows, APPROACHES),
)
