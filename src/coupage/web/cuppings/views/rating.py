"""Rating on a laptop: the whole sheet, each cell saved."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from coupage.errors import InputError
from coupage.units import parse_number
from coupage.web.common.feedback import done, not_done
from coupage.web.common.requests import Request
from coupage.web.cuppings.access import seat_for
from coupage.web.cuppings.actions import ratings as actions
from coupage.web.cuppings.actions.ratings import Cell, split_words
from coupage.web.cuppings.models import Cup, Rating, Seat
from coupage.web.cuppings.pages.sheet import Typed, saved_text, sheet_page
from coupage.web.people.access import needs

__all__ = ["finish", "save_ratings", "save_words", "sheet"]

_CELL = re.compile(r"(?:c-\w{1,4}-)?r-(\d{1,12})-(\d{1,12})")
_SHEET_CELL = re.compile(r"c-(\w{1,4})-r-(\d{1,12})-(\d{1,12})")
_SHEET_WORDS = re.compile(r"w-(\w{1,4})")


def _value(text: str) -> Decimal | None:
    """Read one rating as people type it: 6.5, 6,5 or nothing."""
    text = text.strip()
    if not text:
        return None
    try:
        return parse_number(text[:20], "rating")
    except InputError as problem:
        raise InputError(
            f"{text[:20]!r} is no number; type 0 to 10 in halves, like 6.5"
        ) from problem


def _sentence(problem: Exception) -> str:
    text = str(problem)
    return f"{text[:1].upper()}{text[1:]}."


@needs("taste")
@require_http_methods(["GET", "POST"])
def sheet(request: Request, pk: int) -> HttpResponse:
    """Show a taster's whole sheet; sent whole, every cell that can be kept is kept."""
    seat = seat_for(request.user, pk)
    if request.method != "POST":
        return render(request, "cuppings/sheet.html", {"page": sheet_page(seat)})
    typed = _save_sheet(request, seat)
    if typed.errors:
        page = sheet_page(seat, typed)
        return render(request, "cuppings/sheet.html", {"page": page}, status=422)
    done(request, "The sheet is saved.")
    return redirect("cuppings:sheet", pk)


def _save_sheet(request: Request, seat: Seat) -> Typed:
    """Save what was changed since the sheet was opened; return what could not be kept."""
    # By their codes: keys follow each other as the samples were poured, which tells of repeats.
    cups = {cup.code: cup for cup in Cup.objects.filter(cupping=seat.cupping_id)}
    texts: dict[str, str] = {}
    errors: dict[str, str] = {}
    for name, text in _changed(request.POST).items():
        try:
            cell, words = _SHEET_CELL.fullmatch(name), _SHEET_WORDS.fullmatch(name)
            if cell is not None and cell[1] in cups:
                values = {(int(cell[2]), int(cell[3])): _value(text)}
                _rate(request, seat, cups[cell[1]], values)
            elif words is not None and words[1] in cups:
                actions.say_words(seat=seat, cup=cups[words[1]], words=split_words(text))
        except InputError as problem:
            texts[name], errors[name] = text, _sentence(problem)
    return Typed(texts, errors)


def _changed(sent: Mapping[str, object]) -> dict[str, str]:
    """Return the boxes whose text is not what it was: what others entered meanwhile stays."""
    texts = {name: str(text).strip() for name, text in sent.items()}
    return {name: text for name, text in texts.items() if text != texts.get(f"was-{name}", "")}


def _rate(request: Request, seat: Seat, cup: Cup, values: Mapping[Cell, Decimal | None]) -> None:
    actions.rate(seat=seat, cup=cup, values=values, by=request.user, at=timezone.now())


@needs("taste")
@require_POST
def save_ratings(request: Request, pk: int, cup: str) -> HttpResponse:
    """Save the cells of one cup that were sent, and say so; what is wrong is said instead."""
    seat = seat_for(request.user, pk)
    rated = get_object_or_404(Cup, code=cup, cupping=seat.cupping_id)
    try:
        values = _cells(request.POST)
        _rate(request, seat, rated, values)
    except InputError as problem:
        page = {"error": _sentence(problem)}
        return render(request, "cuppings/saved.html", page, status=422)
    rounds = {round_ for round_, _ in values}
    kept = Rating.objects.filter(seat=seat, cup=rated, round__in=rounds).select_related("by")
    most = seat.cupping.asked.count() * max(1, len(rounds))
    return render(request, "cuppings/saved.html", {"text": saved_text(list(kept), most)})


def _cells(sent: Mapping[str, object]) -> dict[Cell, Decimal | None]:
    cells: dict[Cell, Decimal | None] = {}
    for name, text in sent.items():
        match = _CELL.fullmatch(name)
        if match is not None:
            cells[int(match[1]), int(match[2])] = _value(str(text))
    return cells


@needs("taste")
@require_POST
def save_words(request: Request, pk: int, cup: str) -> HttpResponse:
    """Save the words on one cup, all of them, and say so; what is wrong is said instead."""
    seat = seat_for(request.user, pk)
    said = get_object_or_404(Cup, code=cup, cupping=seat.cupping_id)
    try:
        kept = actions.say_words(
            seat=seat, cup=said, words=split_words(str(request.POST.get(f"w-{cup}", "")))
        )
    except InputError as problem:
        page = {"error": _sentence(problem)}
        return render(request, "cuppings/saved.html", page, status=422)
    text = f"{len(kept)} {'word' if len(kept) == 1 else 'words'} saved" if kept else "no words"
    return render(request, "cuppings/saved.html", {"text": text})


@needs("taste")
@require_POST
def finish(request: Request, pk: int) -> HttpResponse:
    """Say that a taster is done, or goes on (``?back``)."""
    seat = seat_for(request.user, pk)
    over = "back" not in request.GET
    try:
        actions.finish_seat(seat=seat, finished=over, at=timezone.now())
    except InputError as problem:
        not_done(request, _sentence(problem))
    else:
        done(
            request,
            "Thank you. You can still change ratings until the reveal." if over else "Go on.",
        )
    return redirect("cuppings:cupping", seat.cupping_id)
