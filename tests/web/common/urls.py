"""Addresses for the tests of the common parts: pages that fail in every way, and an exchange."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django import forms
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import include, path

from coupage.errors import FileProblem, InputError
from coupage.sheets import Column, Layout, Table
from coupage.web.coffees.models import Lot
from coupage.web.common import views
from coupage.web.common.exchange import Exchange, Plan, export_page, import_page
from coupage.web.common.feedback import done, not_done
from coupage.web.people.models import Person

LAYOUT = Layout(
    "green lots",
    (
        Column("lot", "text"),
        Column("price", "number", unit="EUR/kg", low=0),
        Column("note", "text", required=False),
    ),
    key=("lot",),
)


class NoteForm(forms.Form):
    note = forms.CharField()


def note(request: HttpRequest, pk: int = 0) -> HttpResponse:
    return render(request, "coupage/error.html", {"title": "Noted", "sentences": []})


def said(request: HttpRequest) -> HttpResponse:
    done(request, "Put <away>.", undo="/note/?a=1&b=2")
    not_done(request, "Not put away.")
    return render(request, "coupage/error.html", {"title": "Said", "sentences": []})


def broken(request: HttpRequest) -> HttpResponse:
    raise RuntimeError


def missing(request: HttpRequest) -> HttpResponse:
    raise Http404("That lot is used up.")


def refused(request: HttpRequest) -> HttpResponse:
    raise PermissionDenied("Only an owner may do that.")


def plan(table: Table) -> Plan:
    there = set(Lot.objects.values_list("name", flat=True))
    problems = [
        FileProblem(number, "lot", f"{row['lot']!r} is there already; leave the row out")
        for row, number in zip(table.rows, table.row_numbers, strict=True)
        if row["lot"] in there
    ]
    return Plan((f"{len(table.rows)} lots are new.",), tuple(problems))


def apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    for row in table.rows:
        Lot.objects.create(name=row["lot"], origin="Kenya", price_per_kg=row["price"])
        if row["note"] == "break":
            raise InputError("the last row cannot be written")
    return f"{by.name} took in {len(table.rows)} lots."


LOTS = Exchange(
    key="lots",
    title="Import lots",
    layout=lambda: LAYOUT,
    plan=plan,
    apply=apply,
    back="coffees:index",
)
OTHER = Exchange(
    key="other",
    title="Import other things",
    layout=lambda: LAYOUT,
    plan=plan,
    apply=apply,
    back="coffees:index",
)


def rows(request: HttpRequest) -> list[dict[str, object]]:
    return [{"lot": "=1+1", "price": Decimal("7.5"), "note": None}]


def _app(name: str, **addresses: str) -> object:
    return include(
        (
            [path(where, note, name=what.replace("_", "-")) for what, where in addresses.items()],
            name,
        )
    )


urlpatterns = [
    path("", note, name="today"),
    path("", include("coupage.web.common.urls")),
    path("coffees/", _app("coffees", index="", lot="<int:pk>/")),
    path("batches/", _app("batches", index="")),
    path("cuppings/", _app("cuppings", index="")),
    path("", _app("blends", briefs="briefs/", index="blends/")),
    path("people/", _app("people", index="", sign_in="sign-in/", sign_out="sign-out/", me="me/")),
    path("note/", note),
    path("said/", said),
    path("broken/", broken),
    path("missing/", missing),
    path("refused/", refused),
    path("lots/import/", import_page(LOTS)),
    path("other/import/", import_page(OTHER)),
    path("lots/export/", export_page(lambda: LAYOUT, rows)),
]
handler400 = views.bad_request
handler403 = views.forbidden
handler404 = views.not_found
handler500 = views.server_error
