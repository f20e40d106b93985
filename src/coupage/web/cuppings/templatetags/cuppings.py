"""How templates of this app write a time on the clock, a dose, a warning before the reveal."""

from __future__ import annotations

from django import template

from coupage.web.cuppings.pages.table import TablePage

register = template.Library()


@register.filter
def clock(seconds: int) -> str:
    """Write seconds after the pour as minutes and seconds."""
    return f"{seconds // 60}:{seconds % 60:02d}"


@register.filter
def milligrams(mass_mg: int) -> str:
    """Write a dose kept in milligrams as grams."""
    return f"{mass_mg / 1000:g}"


@register.filter
def times(n: int) -> range:
    """Give something to loop over so many times."""
    return range(n)


@register.filter
def reveal_detail(page: TablePage) -> str:
    """Say what is still empty before a table is closed."""
    cells = "cell is" if page.empty_cells == 1 else "cells are"
    return (
        f"{page.empty_cells} of {page.cells} {cells} still empty, and ratings are closed from then "
        "on. What is missing only leaves more doubt."
    )
