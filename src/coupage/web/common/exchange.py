"""Tables in and out, the same way for every kind of thing.

An app describes its table once::

    LOTS = Exchange(
        key="lots", title="Import lots", layout=lots_layout, plan=plan_lots, apply=apply_lots,
        back="coffees:index",
    )
    path("import/", needs("work")(import_page(LOTS)), name="import")
    path("export/", needs("see")(export_page(lots_layout, lot_rows)), name="export")

A file is read and planned first, and everything wrong with it is listed with row, column and
remedy; nothing is written. When it is clean the person confirms, the file is read and planned
again (somebody may have changed something meanwhile), and all of it is written in one
transaction, or none.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, Protocol

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.db import IntegrityError, transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from coupage.errors import FileError, FileProblem, InputError
from coupage.sheets import Layout, Table, read_table, write_csv, write_xlsx
from coupage.web.common import uploads
from coupage.web.common.feedback import done
from coupage.web.common.requests import Request

if TYPE_CHECKING:
    from coupage.web.people.models import Person

__all__ = ["Apply", "Exchange", "Plan", "export_page", "import_page", "send_table"]

ENDINGS = (".csv", ".tsv", ".txt", ".xlsx")


@dataclass(frozen=True, slots=True)
class Plan:
    """What a clean file would do, in sentences; and what is wrong with it against the database."""

    summary: tuple[str, ...]
    problems: tuple[FileProblem, ...] = ()


class Apply(Protocol):
    """Write a planned table; runs inside one transaction. Returns the sentence that says so."""

    def __call__(self, table: Table, *, by: Person, at: dt.datetime) -> str: ...


@dataclass(frozen=True, slots=True)
class Exchange:
    """How one kind of table comes in.

    Attributes
    ----------
    key
        Names the kind in the session; unique.
    layout
        Called at each request, since some layouts follow what the roastery has set up.
    plan
        Checks a table against the database without writing.
    apply
        Writes it.
    back
        Name of the URL to go to afterwards.
    read
        Reads a file where ``read_table`` by the layout is not enough (ratings in the wide form).
    help
        A sentence above the upload.
    """

    key: str
    title: str
    layout: Callable[[], Layout]
    plan: Callable[[Table], Plan]
    apply: Apply
    back: str
    read: Callable[[bytes, str], Table] | None = None
    help: str = ""


class UploadForm(forms.Form):
    table = forms.FileField(
        label="File",
        help_text="CSV or XLSX. Semicolons, decimal commas and other encodings are understood.",
        widget=forms.ClearableFileInput(attrs={"accept": ",".join(ENDINGS)}),
        error_messages={
            "required": "Choose a file first.",
            "empty": "This file is empty. Save the table again and choose it once more.",
        },
    )

    def clean_table(self) -> UploadedFile[Any]:
        file: UploadedFile[Any] = self.cleaned_data["table"]
        if PurePath(file.name or "").suffix.lower() not in ENDINGS:
            raise forms.ValidationError(
                f"{file.name} is neither CSV nor XLSX. Save the table as one of them."
            )
        return file


def import_page(exchange: Exchange) -> Callable[[Request], HttpResponse]:
    """Return the view that takes a table in: choose, check, confirm."""

    @require_http_methods(["GET", "HEAD", "POST"])
    def view(request: Request) -> HttpResponse:
        if request.method == "GET" and "file" in request.GET:
            return send_table(exchange.layout(), (), request.GET["file"], "empty")
        if request.method != "POST":
            return _show(request, exchange, form=UploadForm())
        if "take" in request.POST:
            return _take(request, exchange, request.POST["take"])
        if "drop" in request.POST:
            uploads.forget(request.session)
            return redirect(request.path)
        form = UploadForm(request.POST, request.FILES)
        if not form.is_valid():
            return _show(request, exchange, status=422, form=form)
        file: UploadedFile[Any] = form.cleaned_data["table"]
        return _check(request, exchange, file.name or "file", file.read())

    view.__doc__ = f"{exchange.title}: choose a file, see what is wrong or would change, confirm."
    return view


def export_page(
    layout: Callable[[], Layout],
    rows: Callable[[Request], Iterable[Mapping[str, object]]],
) -> Callable[[Request], HttpResponse]:
    """Return the view that gives a table out, as ``?file=csv`` (the default) or ``?file=xlsx``."""

    @require_safe
    def view(request: Request) -> HttpResponse:
        day = timezone.localdate().isoformat()
        return send_table(layout(), rows(request), request.GET.get("file", "csv"), day)

    view.__doc__ = "Give the table out as CSV or XLSX."
    return view


def send_table(
    layout: Layout, rows: Iterable[Mapping[str, object]], kind: str, suffix: str
) -> HttpResponse:
    """Answer with a table as a file; ``coupage.sheets`` guards cells against formula injection."""
    if kind == "xlsx":
        data = write_xlsx(layout, rows)
        kind_of_data = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    else:
        kind, data, kind_of_data = "csv", write_csv(layout, rows), "text/csv; charset=utf-8"
    name = "-".join(layout.name.lower().split()) + (f"-{suffix}" if suffix else "")
    response = HttpResponse(data, content_type=kind_of_data)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


def _read_and_plan(exchange: Exchange, filename: str, data: bytes) -> tuple[Table | None, Plan]:
    """Read and plan; a table of None means that the file itself could not be read."""
    try:
        if exchange.read is not None:
            table = exchange.read(data, filename)
        else:
            table = read_table(data, filename, exchange.layout())
    except FileError as error:
        return None, Plan((), error.problems)
    return table, exchange.plan(table)


def _check(request: Request, exchange: Exchange, filename: str, data: bytes) -> HttpResponse:
    table, plan = _read_and_plan(exchange, filename, data)
    if table is None or plan.problems:
        uploads.forget(request.session)
        return _show(request, exchange, status=422, form=UploadForm(), plan=plan, filename=filename)
    kept = uploads.keep(request.session, exchange.key, filename, data)
    return _show(request, exchange, plan=plan, filename=filename, table=table, token=kept.token)


def _take(request: Request, exchange: Exchange, token: str) -> HttpResponse:
    upload = uploads.claim(request.session, exchange.key, token)
    if upload is None:
        return _show(request, exchange, status=409, form=UploadForm(), gone=True)
    try:
        with transaction.atomic():
            table, plan = _read_and_plan(exchange, upload.filename, upload.data)
            if table is None or plan.problems:
                said, refused = "", plan
            else:
                said = exchange.apply(table, by=request.user, at=timezone.now())
                refused = None
    except (InputError, IntegrityError) as error:
        problems = error.problems if isinstance(error, FileError) else ()
        refused = Plan((), problems or (FileProblem(0, "", str(error)),))
    if refused is not None:
        return _show(
            request,
            exchange,
            status=409,
            form=UploadForm(),
            plan=refused,
            filename=upload.filename,
            late=True,
        )
    done(request, said)
    return redirect(exchange.back)


def _show(
    request: Request,
    exchange: Exchange,
    *,
    status: int = 200,
    form: UploadForm | None = None,
    plan: Plan | None = None,
    filename: str = "",
    table: Table | None = None,
    token: str = "",
    gone: bool = False,
    late: bool = False,
) -> HttpResponse:
    context = {
        "exchange": exchange,
        "layout": exchange.layout(),
        "form": form,
        "plan": plan,
        "filename": filename,
        "table": table,
        "token": token,
        "gone": gone,
        "late": late,
    }
    return render(request, "coupage/exchange/import.html", context, status=status)
