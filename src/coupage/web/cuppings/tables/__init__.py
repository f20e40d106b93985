"""Attributes, protocols, tasters, samples, ratings and words as tables that come in and go out."""

from __future__ import annotations

from coupage.sheets import ratings_layout
from coupage.web.common.doors import Door
from coupage.web.cuppings.tables.attributes import ATTRIBUTES, attribute_rows, attributes_layout
from coupage.web.cuppings.tables.protocols import PROTOCOLS, protocol_rows, protocols_layout
from coupage.web.cuppings.tables.ratings import (
    RATINGS,
    RATINGS_WIDE,
    rating_rows,
    wide_ratings_layout,
    wide_ratings_rows,
)
from coupage.web.cuppings.tables.samples import SAMPLES, parts_layout, sample_rows
from coupage.web.cuppings.tables.tasters import TASTERS, taster_rows, tasters_layout
from coupage.web.cuppings.tables.words import WORDS, word_rows, words_layout

__all__ = ["DOORS"]

DOORS = (
    Door("attributes", attributes_layout, attribute_rows, ATTRIBUTES),
    Door("protocols", protocols_layout, protocol_rows, PROTOCOLS),
    Door("tasters", tasters_layout, taster_rows, TASTERS),
    Door("samples", parts_layout, sample_rows, SAMPLES),
    Door("ratings", ratings_layout, rating_rows, RATINGS),
    Door("ratings-wide", wide_ratings_layout, wide_ratings_rows, RATINGS_WIDE),
    Door("words", words_layout, word_rows, WORDS),
)
