"""Short codes: easy to call across a loud room, one valid at a time for one thing."""

from __future__ import annotations

import datetime as dt
import secrets

from django.db import transaction

from coupage.web.live.models import JoinCode
from coupage.web.people.models import Person

__all__ = ["ALPHABET", "LENGTH", "draw_letters", "letters_of", "make_code", "revoke_code"]

# Consonants only, so that no word comes about and none is taken for the digits on the cups; without
# those that look alike in print. 17 ** 6 is 24 million; guessing is slowed down besides.
ALPHABET = "BCDFGHJKMNPQRTVWX"
LENGTH = 6


def letters_of(typed: str) -> str:
    """Return the letters of a code as people type it, or nothing when it cannot be one.

    >>> letters_of(" kdm-rtx"), letters_of("12"), letters_of("KDM RTX!")
    ('KDMRTX', '', '')
    """
    letters = typed.upper().replace("-", "").replace(" ", "").strip()
    return letters if len(letters) == LENGTH and set(letters) <= set(ALPHABET) else ""


def draw_letters() -> str:
    """Draw a code that nobody can guess."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


@transaction.atomic
def make_code(*, kind: str, key: int, by: Person | None, at: dt.datetime) -> JoinCode:
    """Return the code by which one thing is joined; a new one where there is none that is valid."""
    there = JoinCode.objects.filter(kind=kind, key=key, revoked_at=None).first()
    if there is not None:
        return there
    while True:
        letters = draw_letters()
        if not JoinCode.objects.filter(letters=letters).exists():
            # Of two hosts at once one wins, and both show the same code.
            JoinCode.objects.bulk_create(
                [JoinCode(letters=letters, kind=kind, key=key, made_at=at, made_by=by)],
                ignore_conflicts=True,
            )
            return JoinCode.objects.get(kind=kind, key=key, revoked_at=None)


@transaction.atomic
def revoke_code(*, kind: str, key: int, at: dt.datetime) -> bool:
    """End the code of one thing; whoever came in by it stays. Says whether there was one."""
    valid = JoinCode.objects.filter(kind=kind, key=key, revoked_at=None)
    return bool(valid.update(revoked_at=at))
