"""What the frame around every page needs: the way through the product, and who is signed in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject

import coupage

__all__ = ["MENU", "NAVIGATION", "Entry", "Frame", "Place", "frame"]

EVERYBODY = frozenset({"owner", "roaster", "taster", "viewer"})
READERS = frozenset({"owner", "roaster", "viewer"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One way through the product: where it leads, what it is called, who sees it."""

    key: str
    label: str
    url_name: str
    icon: str
    roles: frozenset[str] = EVERYBODY


# In the order of the work. An entry whose URL does not exist yet is left out.
NAVIGATION: tuple[Entry, ...] = (
    Entry("today", "Today", "today", "today"),
    Entry("coffees", "Coffees", "coffees:index", "lot", READERS),
    Entry("batches", "Batches", "batches:index", "batch", READERS),
    Entry("cuppings", "Cuppings", "cuppings:index", "cup"),
    Entry("trials", "Trials", "trials:index", "trial", READERS),
    Entry("briefs", "Briefs", "blends:briefs", "brief", READERS),
    Entry("blends", "Blends", "blends:index", "blend", READERS),
    Entry("orders", "Orders", "orders:index", "order", READERS),
    Entry("roastdays", "Roast days", "roastdays:index", "roastday", READERS),
    Entry("production", "Production", "production:index", "bag", READERS),
)
MENU: tuple[Entry, ...] = (
    Entry("me", "My settings", "people:me", "person"),
    Entry("people", "People", "people:index", "people", frozenset({"owner"})),
    Entry("roastery", "Roastery", "people:settings", "batch", frozenset({"owner"})),
    Entry("gallery", "Gallery of parts", "gallery", "blend", frozenset({"owner", "roaster"})),
)


@dataclass(frozen=True, slots=True)
class Place:
    """An entry as a page shows it."""

    key: str
    label: str
    url: str
    icon: str
    current: bool


@dataclass(frozen=True, slots=True)
class Frame:
    """What ``base.html`` shows around a page, as ``frame`` in every template."""

    navigation: tuple[Place, ...]
    menu: tuple[Place, ...]
    section: str
    version: str
    home: str
    sign_out: str


def frame(request: HttpRequest) -> dict[str, object]:
    """Offer ``frame`` to templates; worked out only where a template asks for it."""
    return {"frame": SimpleLazyObject(lambda: _frame(request))}


def _frame(request: HttpRequest) -> Frame:
    user = getattr(request, "user", None)
    signed_in = bool(user is not None and user.is_authenticated)
    role = str(getattr(user, "role", "")) if signed_in else ""
    navigation = _places(NAVIGATION, role, request.path)
    return Frame(
        navigation=navigation,
        menu=_places(MENU, role, request.path),
        section=next((place.key for place in navigation if place.current), ""),
        version=coupage.__version__,
        home=_url("today") or "/",
        sign_out=_url("people:sign-out") or "",
    )


def _places(entries: Sequence[Entry], role: str, path: str) -> tuple[Place, ...]:
    found = [(entry, _url(entry.url_name)) for entry in entries if role in entry.roles]
    there = [(entry, url) for entry, url in found if url]
    # The longest address that the path starts with is the section one stands in; the start page
    # is the beginning of every address and counts for itself only.
    holding = [url for _, url in there if (path == url if url == "/" else path.startswith(url))]
    here = max(holding, key=len, default="")
    return tuple(Place(e.key, e.label, url, e.icon, url == here) for e, url in there)


def _url(name: str) -> str:
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""
