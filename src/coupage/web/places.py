"""Where an installation keeps its things: database, secret key, backups, uploads.

One folder outside the source tree, by the platform's convention, or where ``COUPAGE_DATA`` says.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import tempfile
from pathlib import Path

from platformdirs import user_data_path

__all__ = ["data_folder", "secret_key"]


def data_folder() -> Path:
    """Return the data folder, made readable to its owner only when it is new."""
    named = os.environ.get("COUPAGE_DATA")
    folder = Path(named).expanduser() if named else user_data_path("coupage", appauthor=False)
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def secret_key() -> str:
    """Return this installation's own signing key, made at first use and kept beside the data."""
    place = data_folder() / "secret-key"
    if not place.exists():
        # Written whole beside its place and then linked: of two processes that start at once, one
        # wins and both read the same key.
        handle, new = tempfile.mkstemp(dir=place.parent, prefix=".secret-key-")
        os.write(handle, secrets.token_urlsafe(64).encode("ascii"))
        os.close(handle)
        with contextlib.suppress(FileExistsError):
            os.link(new, place)
        Path(new).unlink()
    return place.read_text("ascii")
