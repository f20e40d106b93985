"""Files between a dry run and its confirmation, out of the client's reach.

A file lies in the data folder under a name that nobody can guess; the session, which the server
keeps, says which one is this person's and what it was checked as. After an hour it is gone.
"""

from __future__ import annotations

import hashlib
import secrets
import time
from dataclasses import dataclass
from pathlib import Path

from django.contrib.sessions.backends.base import SessionBase

from coupage.web.places import data_folder

__all__ = ["LIFETIME_SECONDS", "Upload", "claim", "forget", "keep"]

LIFETIME_SECONDS = 3600
_KEY = "coupage-upload"


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that was checked and waits for its confirmation."""

    token: str
    filename: str
    data: bytes


def keep(session: SessionBase, purpose: str, filename: str, data: bytes) -> Upload:
    """Keep a file for this session in place of any earlier one, and sweep out old ones."""
    forget(session)
    _sweep()
    token = secrets.token_urlsafe(24)
    place = _folder() / token
    place.touch(mode=0o600)
    place.write_bytes(data)
    session[_KEY] = {
        "token": token,
        "purpose": purpose,
        "filename": filename,
        "digest": hashlib.sha256(data).hexdigest(),
    }
    return Upload(token, filename, data)


def claim(session: SessionBase, purpose: str, token: str) -> Upload | None:
    """Take out the file that was kept under ``token``, once: whoever comes second gets None.

    None also when the session kept another file, kept it for another purpose, or the hour is over.
    """
    kept = session.get(_KEY)
    if not kept or kept["purpose"] != purpose:
        return None
    if not secrets.compare_digest(kept["token"].encode(), token.encode()):
        return None
    place = _folder() / kept["token"]
    taken = place.with_suffix(".taken")
    try:
        fresh = time.time() - place.stat().st_mtime < LIFETIME_SECONDS
        place.rename(taken)  # one of two requests at once succeeds
        data = taken.read_bytes()
    except FileNotFoundError:
        return None
    finally:
        taken.unlink(missing_ok=True)
    session.pop(_KEY, None)
    if not fresh or hashlib.sha256(data).hexdigest() != kept["digest"]:
        return None
    return Upload(kept["token"], kept["filename"], data)


def forget(session: SessionBase) -> None:
    """Throw away the file that this session keeps, if any."""
    kept = session.pop(_KEY, None)
    if kept:
        (_folder() / kept["token"]).unlink(missing_ok=True)


def _folder() -> Path:
    folder = data_folder() / "uploads"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def _sweep() -> None:
    oldest = time.time() - LIFETIME_SECONDS
    for place in _folder().iterdir():
        try:
            if place.stat().st_mtime < oldest:
                place.unlink()
        except FileNotFoundError:  # another request swept it
            continue
