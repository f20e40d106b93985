"""Say what was done, and offer the way back."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest

__all__ = ["done", "not_done"]


def done(request: HttpRequest, text: str, *, undo: str = "") -> None:
    """Say that something was done; ``undo`` is the address whose POST takes it back."""
    messages.success(request, text, extra_tags=f"undo:{undo}" if undo else "")


def not_done(request: HttpRequest, text: str) -> None:
    """Say that something was not done, and why."""
    messages.warning(request, text)
