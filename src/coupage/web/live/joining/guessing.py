"""Guessing at codes is slow: ten wrong ones from one address, then a wait.

With 24 million codes and a handful valid at a time, somebody who keeps guessing from one address
for an eight-hour day has a chance of about one in 10,000 to hit one of five.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils.crypto import salted_hmac

from coupage.errors import InputError
from coupage.web.live.joining.codes import letters_of
from coupage.web.live.models import JoinCode, WrongGuess

__all__ = ["MOST_WRONG", "WINDOW", "TooManyGuessesError", "code_of"]

MOST_WRONG = 10
WINDOW = dt.timedelta(minutes=10)


class TooManyGuessesError(InputError):
    """Too many wrong codes came from one address; even a right one is not looked at now."""


def code_of(typed: str, *, address: str, at: dt.datetime) -> JoinCode | None:
    """Return the valid code that was typed, or None; wrong ones are counted by address.

    Raises
    ------
    TooManyGuessesError
        When that address was wrong too often within the last minutes.
    """
    who = salted_hmac("coupage.live.guess", address, algorithm="sha256").hexdigest()
    if WrongGuess.objects.filter(who=who, at__gt=at - WINDOW).count() >= MOST_WRONG:
        raise TooManyGuessesError(
            f"{MOST_WRONG} wrong codes came from here; wait {WINDOW.seconds // 60} minutes, or ask "
            "the host to show you the code to scan"
        )
    letters = letters_of(typed)
    code = JoinCode.objects.filter(letters=letters, revoked_at=None).first() if letters else None
    if code is None:
        with transaction.atomic():
            WrongGuess.objects.filter(at__lte=at - WINDOW).delete()
            WrongGuess.objects.create(who=who, at=at)
    return code
