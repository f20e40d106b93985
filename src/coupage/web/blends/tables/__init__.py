"""Briefs and recipes as tables that come in and go out."""

from __future__ import annotations

from coupage.web.blends.tables.briefs import BRIEFS, brief_rows, briefs_layout
from coupage.web.blends.tables.recipes import RECIPES, recipe_rows, recipes_layout
from coupage.web.common.doors import Door

__all__ = ["DOORS"]

DOORS = (
    Door("briefs", briefs_layout, brief_rows, BRIEFS),
    Door("recipes", recipes_layout, recipe_rows, RECIPES),
)
