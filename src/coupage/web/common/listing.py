"""One way for every list: search, filter, sort and page from the address, and back into it.

A view or page object writes::

    page.lots = Listing.of(
        request,
        Lot.objects.select_related("origin"),
        search=("name", "producer"),
        sorts={"name": "name", "bought": "bought_on", "price": ("price", "name")},
        default="-bought",
        filters=(Filter("stock", "Stock", (Choice("in", "In stock", Q(left_g__gt=0)),)),),
    )

and its template ``{% listing page.lots noun="lot" %} <thead>... <tbody>... {% endlisting %}``.
Whatever the address holds, the answer is a list: what is not known is left out, a page too far is
the last one. Two queries, however many rows there are (:data:`LISTING_QUERIES`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import fields as dc_fields
from typing import Any, Generic, TypeVar
from urllib.parse import urlencode

from django.db.models import Model, Q, QuerySet
from django.http import HttpRequest, QueryDict

from coupage.errors import InputError

__all__ = ["LISTING_QUERIES", "Choice", "Filter", "Listing", "ShownChoice", "ShownFilter"]

LISTING_QUERIES = 2
PAGE_SIZE = 25
_LONGEST_SEARCH = 200

M = TypeVar("M", bound=Model)
R = TypeVar("R")
S = TypeVar("S")


@dataclass(frozen=True, slots=True)
class Choice:
    """One chip of a filter: what the address says, what the chip says, which rows it keeps."""

    key: str
    label: str
    keeps: Q


@dataclass(frozen=True, slots=True)
class Filter:
    """Chips of which one may be chosen; none chosen keeps all rows, or ``default`` if it is named.

    With a ``default`` an extra chip "All" (key ``all``) lets go of it.
    """

    key: str
    label: str
    choices: tuple[Choice, ...]
    default: str = ""


@dataclass(frozen=True, slots=True)
class ShownChoice:
    """A chip as the page shows it; following ``url`` chooses it, or lets go of it when chosen."""

    label: str
    url: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class ShownFilter:
    """A row of chips."""

    label: str
    choices: tuple[ShownChoice, ...]


@dataclass(frozen=True, slots=True)
class Listing(Generic[R]):
    """Rows of one page of a list, and the addresses that lead to the others."""

    rows: Sequence[R]
    found: int
    number: int
    size: int
    search: str
    searchable: bool
    sort: str
    default_sort: str
    sorts: frozenset[str]
    chosen: Mapping[str, str]
    filters: tuple[Filter, ...]
    path: str
    kept: tuple[tuple[str, str], ...] = ()
    bare: bool = False  # nothing there at all, whatever is searched or chosen

    @classmethod
    def of(
        cls,
        request: HttpRequest,
        queryset: QuerySet[M],
        *,
        sorts: Mapping[str, str | Sequence[str]],
        default: str,
        search: Sequence[str] = (),
        filters: Sequence[Filter] = (),
        size: int = PAGE_SIZE,
        keep: Sequence[str] = (),
    ) -> Listing[M]:
        """Read the address and fetch the page it asks for.

        Parameters
        ----------
        request
            Its query string may hold ``q`` (search words), ``sort`` (a key of ``sorts``, with a
            minus for falling), ``page`` and one key per filter.
        queryset
            Everything the person may see.
        sorts
            Sort key to the field, or fields in order, that it sorts by; ``-field`` reverses one.
        default
            The sort key used when the address names none.
        search
            Fields looked through; a row is found when every word occurs in one of them.
        filters
            Rows of chips.
        size
            Rows on a page.
        keep
            Other keys of the query string that links must carry on.

        Raises
        ------
        InputError
            When ``default`` is not among ``sorts`` or a filter uses a reserved key.
        """
        _check(sorts, default, filters)
        asked = request.GET
        words = " ".join(asked.get("q", "").replace("\x00", "").split())[:_LONGEST_SEARCH].strip()
        chosen = {f.key: _chosen(f, asked) for f in filters}
        sort = asked.get("sort", "")
        if sort.removeprefix("-") not in sorts:
            sort = default
        narrowed = queryset.filter(_matching(words, search), *_kept(filters, chosen))
        ordered = narrowed.order_by(*_fields(sorts[sort.removeprefix("-")], sort[:1] == "-"), "pk")
        found = narrowed.count()
        pages = max(1, -(-found // size))
        number = min(max(1, _whole(asked.get("page", "1"))), pages)
        return Listing(
            rows=list(ordered[(number - 1) * size : number * size]) if found else [],
            found=found,
            number=number,
            size=size,
            search=words if search else "",
            searchable=bool(search),
            sort=sort,
            default_sort=default,
            sorts=frozenset(sorts),
            chosen=chosen,
            filters=tuple(filters),
            path=request.path,
            kept=tuple((key, asked[key]) for key in keep if key in asked),
            bare=not found and not queryset.exists(),
        )

    def map(self, show: Callable[[R], S]) -> Listing[S]:
        """Return the same page with each row turned into what the template shows."""
        same = {f.name: getattr(self, f.name) for f in dc_fields(self) if f.name != "rows"}
        return Listing(rows=[show(row) for row in self.rows], **same)

    @property
    def pages(self) -> int:
        return max(1, -(-self.found // self.size))

    @property
    def first(self) -> int:
        return (self.number - 1) * self.size + 1 if self.found else 0

    @property
    def last(self) -> int:
        return min(self.number * self.size, self.found)

    @property
    def narrowed(self) -> bool:
        """Whether a search or a chip that was chosen hides rows."""
        return bool(self.search or any(self.chosen[f.key] != f.default for f in self.filters))

    def url(self, **changes: str) -> str:
        """Return the address of this list with some of ``q``, ``sort``, ``page`` or chips changed.

        A change to anything but the page goes back to page 1; an empty value is left out.
        """
        state = dict(self.state(page="page" in changes and len(changes) == 1))
        state.update(changes)
        query = urlencode([(key, value) for key, value in state.items() if value])
        return f"{self.path}?{query}" if query else self.path

    def state(self, page: bool = True) -> list[tuple[str, str]]:
        """Return what the address must say to come back here, as pairs."""
        pairs = [*self.kept, ("q", self.search)]
        for f in self.filters:
            value = self.chosen[f.key]
            pairs.append((f.key, ("" if value else "all") if f.default else value))
            if f.default and value == f.default:
                pairs[-1] = (f.key, "")
        pairs.append(("sort", "" if self.sort == self.default_sort else self.sort))
        pairs.append(("page", str(self.number) if page and self.number > 1 else ""))
        return [pair for pair in pairs if pair[1]]

    @property
    def hidden(self) -> list[tuple[str, str]]:
        """What the search form carries along: everything but the words and the page."""
        return [pair for pair in self.state(page=False) if pair[0] != "q"]

    @property
    def clear_url(self) -> str:
        """The address without search and with every chip let go."""
        return self.url(q="", **{f.key: "all" if f.default else "" for f in self.filters})

    @property
    def previous_url(self) -> str:
        return self.url(page=str(self.number - 1) if self.number > 2 else "")

    @property
    def next_url(self) -> str:
        return self.url(page=str(self.number + 1))

    def sort_url(self, key: str) -> str:
        """Return the address that sorts by ``key``; a second time turns the order round."""
        return self.url(sort=f"-{key}" if self.sort == key else key)

    def direction(self, key: str) -> str:
        """Return ``aria-sort`` for a heading: ascending, descending or none."""
        if self.sort == key:
            return "ascending"
        return "descending" if self.sort == f"-{key}" else "none"

    def shown_filters(self) -> tuple[ShownFilter, ...]:
        """Return the chips with their addresses."""
        return tuple(self._shown(f) for f in self.filters)

    def _shown(self, f: Filter) -> ShownFilter:
        value = self.chosen[f.key]
        none = "all" if f.default else ""
        chips = [
            ShownChoice(
                c.label, self.url(**{f.key: none if value == c.key else c.key}), value == c.key
            )
            for c in f.choices
        ]
        if f.default:
            chips.append(ShownChoice("All", self.url(**{f.key: "all"}), not value))
        return ShownFilter(f.label, tuple(chips))


def _check(sorts: Mapping[str, Any], default: str, filters: Sequence[Filter]) -> None:
    if default.removeprefix("-") not in sorts:
        raise InputError(f"default: {default!r} is not among the sorts {', '.join(sorts)}")
    for f in filters:
        keys = [c.key for c in f.choices]
        if f.key in {"q", "sort", "page"} or "all" in keys or (f.default and f.default not in keys):
            raise InputError(
                f"filters: {f.key!r} must not be q, sort or page, its choices {keys} must not hold "
                f"'all', and its default {f.default!r} must be one of them"
            )


def _chosen(f: Filter, asked: QueryDict) -> str:
    value = asked.get(f.key, "")
    if value in {c.key for c in f.choices}:
        return value
    return "" if value == "all" else f.default


def _matching(words: str, fields: Sequence[str]) -> Q:
    every = Q()
    if not fields:
        return every
    for word in words.split():
        some = Q()
        for name in fields:
            some |= Q(**{f"{name}__icontains": word})
        every &= some
    return every


def _kept(filters: Sequence[Filter], chosen: Mapping[str, str]) -> list[Q]:
    return [c.keeps for f in filters for c in f.choices if c.key == chosen[f.key]]


def _fields(fields: str | Sequence[str], falling: bool) -> list[str]:
    names = [fields] if isinstance(fields, str) else list(fields)
    if not falling:
        return names
    return [n.removeprefix("-") if n.startswith("-") else f"-{n}" for n in names]


def _whole(text: str) -> int:
    # int() takes "٣" and "1_0", and refuses digits by the thousand; a page number needs few.
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 1
