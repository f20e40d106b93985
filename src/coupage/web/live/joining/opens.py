"""What a code opens: each app says so for its own kind."""

from __future__ import annotations

import datetime as dt
from typing import Protocol

__all__ = ["Opens", "opens", "register"]


class Opens(Protocol):
    """What an app brings so that strangers can join one of its things by a code."""

    def title(self, key: int) -> str:
        """Return what a stranger reads before joining. It must give nothing away."""

    def refusal(self, key: int) -> str:
        """Return a sentence why nobody can join now, or nothing when they can."""

    def seat(self, key: int, *, name: str, at: dt.datetime) -> int:
        """Give a place to somebody new, and return the key of its row.

        Called inside a transaction. Raises InputError, with a way on, when the name will not do.
        """

    def home(self, token: str) -> str:
        """Return the address of a place, for the signed token that opens it."""


_KINDS: dict[str, Opens] = {}


def register(kind: str, what: Opens) -> None:
    """Say what codes of a kind open; called once, when the app is ready."""
    _KINDS[kind] = what


def opens(kind: str) -> Opens:
    """Return what codes of a kind open."""
    return _KINDS[kind]
