"""Attributes, tasters, samples, ratings and words as tables that come in and go out."""

from __future__ import annotations

from coupage.web.common.doors import Door
from coupage.web.cuppings.tables.attributes import ATTRIBUTES, attribute_rows, attributes_layout

__all__ = ["DOORS"]

DOORS = (Door("attributes", attributes_layout, attribute_rows, ATTRIBUTES),)
