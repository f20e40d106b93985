"""Addresses of tables that go in and out, with their rights."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from django.urls import URLPattern, path

from coupage.web.common.doors import Door
from coupage.web.common.exchange import export_page, import_page
from coupage.web.common.requests import Request
from coupage.web.people.access import needs

__all__ = ["door_urls"]


def door_urls(*doors: Door) -> list[URLPattern]:
    """Return ``NAME/import/`` and ``NAME/export/`` for doors, named ``import-NAME`` and so on."""
    urls = []
    for door in doors:
        if door.exchange is not None:
            view = needs("work")(import_page(door.exchange))
            urls.append(path(f"{door.name}/import/", view, name=f"import-{door.name}"))
        view = needs("see")(export_page(door.layout, _rows(door)))
        urls.append(path(f"{door.name}/export/", view, name=f"export-{door.name}"))
    return urls


def _rows(door: Door) -> Callable[[Request], Iterable[Mapping[str, object]]]:
    """Tables are whole: what a person may export does not depend on the address asked."""
    return lambda _request: door.rows()
