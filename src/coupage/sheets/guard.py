"""Keep a spreadsheet program from running a text as a formula, and lose nothing by it.

A text that a program could take for a formula gets an apostrophe in front, the spreadsheets' own
mark for "this is text"; reading takes it off again. A text with white space at an end gets one too,
since reading otherwise trims. The rule can be undone exactly because a text that would look
guarded is guarded once more.

References
----------
.. [1] OWASP Foundation, "CSV Injection": cells that begin with =, +, -, @, tab, carriage return or
   line feed, or the full-width forms of the signs (from memory).
"""

from __future__ import annotations

__all__ = ["guard", "unguard"]

_MARK = "'"
_SIGNS = frozenset("=+-@＝＋－＠|")


def _needs_guard(text: str) -> bool:
    inner = text.lstrip(_MARK)
    if not inner:
        return False
    if inner[0] in _SIGNS or inner[0].isspace() or ord(inner[0]) < 32:
        return True
    # A trailing blank is trimmed on reading unless the text is marked.
    return text[-1].isspace()


def guard(text: str) -> str:
    """Make a text safe to open in a spreadsheet.

    >>> guard("=1+1"), guard("'=1+1"), guard("'t Veer"), guard("washed")
    ("'=1+1", "''=1+1", "'t Veer", 'washed')
    """
    return _MARK + text if _needs_guard(text) else text


def unguard(text: str) -> str:
    """Undo `guard`; a text that was never guarded is trimmed, as typed cells are.

    >>> unguard("'=1+1"), unguard(" washed "), unguard("'t Veer")
    ('=1+1', 'washed', "'t Veer")
    """
    if text.startswith(_MARK) and _needs_guard(text[1:]):
        return text[1:]
    return text.strip()
