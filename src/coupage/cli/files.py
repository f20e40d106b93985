"""Files that are named on the command line."""

from __future__ import annotations

from pathlib import Path

from coupage.errors import FileError, FileProblem, InputError

__all__ = ["read_bytes", "write_bytes"]


def read_bytes(path: str) -> bytes:
    """The bytes of a table, after a look at its size.

    Raises
    ------
    InputError
        When there is no such file, or it is far larger than any table that is read.
    """
    from coupage.sheets import MAX_BYTES

    file = Path(path)
    if not file.exists():
        raise InputError(f"{path}: there is no such file; check the name and the folder")
    if file.is_dir():
        raise InputError(f"{path}: is a folder; name a file in it")
    size = file.stat().st_size
    if size > MAX_BYTES:
        raise FileError(
            file.name,
            [
                FileProblem(
                    0,
                    "",
                    f"is {size / 1024**2:,.0f} MB; at most {MAX_BYTES // 1024**2} MB are read; "
                    "split it into several files",
                )
            ],
        )
    return file.read_bytes()


def write_bytes(path: str, data: bytes, *, replace: bool = False) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    InputError
        When the file is there already and must not be replaced, or its folder is not there.
    """
    file = Path(path)
    if file.exists() and not replace:
        raise InputError(f"{path}: is there already; name another file, or add --replace")
    if not file.parent.is_dir():
        raise InputError(f"{path}: its folder is not there; make it first")
    new = file.with_name(f".{file.name}.new")
    new.write_bytes(data)
    new.replace(file)
