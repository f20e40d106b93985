"""Say what was done, and offer the way back."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from coupage.errors import InputError

__all__ = ["both_ways", "done", "not_done", "sentence"]


def done(request: HttpRequest, text: str, *, undo: str = "") -> None:
    """Say that something was done; ``undo`` is the address whose POST takes it back."""
    messages.success(request, text, extra_tags=f"undo:{undo}" if undo else "")


def not_done(request: HttpRequest, text: str) -> None:
    """Say that something was not done, and why."""
    messages.warning(request, text)


def sentence(problem: Exception) -> str:
    """Return what an error says as a sentence; the names in it keep their capitals."""
    said = str(problem)
    return f"{said[:1].upper()}{said[1:]}."


def both_ways(
    request: HttpRequest, deed: Callable[[bool], object], *, there: str, back: str, to: str
) -> HttpResponse:
    """Do what can be taken back, or take it back (``?back``), and go on to ``to``.

    Parameters
    ----------
    deed
        Called with True, or with False to take it back; raises InputError when it cannot.
    there, back
        What to say after each: ``"Low Lantern is put away"``, without a full stop.
    """
    away = "back" not in request.GET
    try:
        deed(away)
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        undo = request.path + ("?back" if away else "")
        done(request, f"{there if away else back}.", undo=undo)
    return redirect(to)
