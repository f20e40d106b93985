"""What tables of orders have in common: customers and blends by name, bags by size and count."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column
from coupage.web.blends.models import Blend
from coupage.web.orders.actions import Wanted
from coupage.web.orders.models import Customer

LINE_COLUMNS = (
    Column("blend", "text", aliases=("product", "coffee")),
    Column("bag", "integer", unit="g", low=10, high=1_000_000, aliases=("bag size",)),
    Column("bags", "integer", low=1, high=10_000, aliases=("count", "how many", "quantity")),
)


class Names:
    """Customers and blends of the installation by name."""

    def __init__(self) -> None:
        self.customers = {customer.name: customer for customer in Customer.objects.all()}
        self.blends = {blend.name: blend for blend in Blend.objects.all()}

    def problems(self, number: int, row: Mapping[str, Any]) -> list[FileProblem]:
        """Say which names of a row are not known, and which they may have been."""
        found = []
        if row["customer"] not in self.customers:
            text = unknown("customer", row["customer"], self.customers)
            found.append(FileProblem(number, "customer", f"{text}; add them first"))
        if row["blend"] not in self.blends:
            found.append(FileProblem(number, "blend", unknown("blend", row["blend"], self.blends)))
        return found

    def line(self, row: Mapping[str, Any]) -> Wanted:
        """Return the line that a row writes."""
        return self.blends[str(row["blend"])], int(row["bag"]), int(row["bags"])


def unknown(what: str, name: object, known: Iterable[str]) -> str:
    """Say that a name is not known, and the nearest that is."""
    near = get_close_matches(str(name), list(known), 1)
    return f"there is no {what} {name!r}" + (f"; did you mean {near[0]!r}?" if near else "")
