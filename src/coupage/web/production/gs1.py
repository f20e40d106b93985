"""Identifiers as the GS1 General Specifications write them: check digits, element strings, links.

A roastery needs none of this to put a lot code on a bag. Who has numbers of their own from a GS1
organisation types them in, and gets labels that a customer's system can read.

References
----------
.. [1] GS1 General Specifications, section 7.9.1 (check digit), sections 3.2 to 3.4 (application
   identifiers 00, 01, 10, 13, 15), figure 7.11-1 (characters of variable fields), 7.12 (years);
   section numbers from memory, they move between yearly editions.
.. [2] GS1 Digital Link Standard, URI Syntax, 1.2: ``/01/{gtin}/10/{lot}?15=YYMMDD``; ABNF of key
   qualifiers and query attributes.
.. [3] ISO/IEC 15459-4 (item identifiers built from a GTIN and a lot).
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from urllib.parse import quote, unquote, urlsplit

from coupage.errors import InputError

__all__ = [
    "LOT_CHARACTERS",
    "Scanned",
    "check_digit",
    "checked_gtin",
    "digital_link",
    "element_string",
    "read_scanned",
    "six_digits",
]

GTIN_LENGTHS = (8, 12, 13, 14)
# Character set 82: what a lot in an element string may hold.
LOT_CHARACTERS = frozenset(
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789!\"%&'()*+,-./_:;<=>?"
)
LONGEST_LOT = 20
# Lengths of the fields we read; None ends at the separator FNC1 or at the end.
_FIELDS: dict[str, int | None] = {
    "00": 18, "01": 14, "02": 14, "10": None, "11": 6, "13": 6, "15": 6, "17": 6, "21": None,
    "30": None, "37": None,
}  # fmt: skip
_SEPARATOR = "\x1d"


def check_digit(digits: str) -> str:
    """Return the last digit of a GTIN or SSCC whose other digits are given.

    From the right the digits weigh 3, 1, 3, 1, ...; the check digit fills their sum up to tens.

    Examples
    --------
    >>> check_digit("629104150021"), check_digit("37610425002123456")
    ('3', '9')
    """
    if not re.fullmatch(r"[0-9]+", digits):
        raise InputError(f"digits: {digits!r} came; only the digits 0 to 9 are used")
    total = sum(int(d) * (3 if i % 2 == 0 else 1) for i, d in enumerate(reversed(digits)))
    return str(-total % 10)


def checked_gtin(text: str) -> str:
    """Return a GTIN as 14 digits, its check digit looked at.

    Raises
    ------
    InputError
        When it has not 8, 12, 13 or 14 digits, or its last digit is not the check digit.

    Examples
    --------
    >>> checked_gtin("629 1041 500213")
    '06291041500213'
    """
    digits = "".join(text.split()).replace("-", "")
    if not re.fullmatch(r"[0-9]+", digits) or len(digits) not in GTIN_LENGTHS:
        raise InputError(f"{text!r} is no GTIN: it has 8, 12, 13 or 14 digits and nothing else")
    wanted = check_digit(digits[:-1])
    if digits[-1] != wanted:
        raise InputError(
            f"{text!r} is no GTIN: the last digit would be {wanted}; look for two digits in the "
            "wrong order"
        )
    return digits.zfill(14)


def six_digits(day: dt.date) -> str:
    """Write a day as YYMMDD."""
    return f"{day:%y%m%d}"


def element_string(
    *,
    lot: str,
    gtin: str = "",
    best_before: dt.date | None = None,
    packed_on: dt.date | None = None,
) -> str:
    """Write a lot as it stands under a symbol, application identifiers in brackets.

    Without a GTIN there is nothing that a lot could belong to in GS1's sense: the string is empty.

    Raises
    ------
    InputError
        When the lot is longer than 20 characters or holds one that no symbol can carry.

    Examples
    --------
    >>> element_string(
    ...     lot="140326-1", gtin="9520123456788", best_before=dt.date(2027, 3, 14),
    ...     packed_on=dt.date(2026, 3, 14),
    ... )
    '(01)09520123456788(13)260314(15)270314(10)140326-1'
    """
    if not gtin:
        return ""
    check_lot(lot)
    parts = [f"(01){checked_gtin(gtin)}"]
    if packed_on is not None:
        parts.append(f"(13){six_digits(packed_on)}")
    if best_before is not None:
        parts.append(f"(15){six_digits(best_before)}")
    # Fields of fixed length go first, so that no separator is needed.
    return "".join([*parts, f"(10){lot}"])


def check_lot(lot: str) -> None:
    """Refuse a lot code that no symbol can carry."""
    wrong = "".join(sorted(set(lot) - LOT_CHARACTERS))
    if not lot or len(lot) > LONGEST_LOT or wrong:
        what = f"holds {wrong!r}" if wrong else "must have 1 to 20 characters"
        raise InputError(
            f"lot code {lot!r} {what}; use letters A to Z, digits and signs such as - . / only"
        )


def digital_link(base: str, *, gtin: str, lot: str, best_before: dt.date | None = None) -> str:
    """Write item and lot as a web address below ``base``, for the QR code on a bag.

    Examples
    --------
    >>> digital_link("https://coffee.example/", gtin="9520123456788", lot="14/03")
    'https://coffee.example/01/09520123456788/10/14%2F03'
    """
    check_lot(lot)
    address = f"{base.rstrip('/')}/01/{checked_gtin(gtin)}/10/{quote(lot, safe='')}"
    return address if best_before is None else f"{address}?15={six_digits(best_before)}"


@dataclass(frozen=True, slots=True)
class Scanned:
    """What a scanner or a person put into the search box."""

    gtin: str = ""
    lot: str = ""
    text: str = ""


def read_scanned(text: str) -> Scanned:
    """Find item and lot in a scanned text; what is none of it is given back as it came.

    Understood are element strings with brackets, the same as a scanner sends them, and web
    addresses of the Digital Link kind.

    Examples
    --------
    >>> read_scanned("(01)09520123456788(15)270314(10)140326-1").lot
    '140326-1'
    >>> read_scanned("https://coffee.example/01/09520123456788/10/14%2F03").lot
    '14/03'
    >>> read_scanned("140326-1").text
    '140326-1'
    """
    text = text.strip()
    found: dict[str, str] = {}
    if re.match(r"https?://", text):
        found = _from_address(text)
    elif text.startswith("("):
        found = dict(re.findall(r"\((\d{2,4})\)((?:(?!\(\d{2,4}\)).)*)", text))
    elif re.match(r"(\][A-Za-z]\d)?(00|01|02)\d{14}", text):
        found = _from_raw(re.sub(r"^\][A-Za-z]\d", "", text))
    if "10" not in found and "01" not in found:
        return Scanned(text=text)
    return Scanned(gtin=found.get("01", ""), lot=found.get("10", ""), text=text)


def _from_address(text: str) -> dict[str, str]:
    parts = [unquote(p) for p in urlsplit(text).path.split("/") if p]
    if "01" not in parts:
        return {}
    parts = parts[parts.index("01") :]
    return dict(zip(parts[::2], parts[1::2], strict=False))


def _from_raw(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    while text:
        key, rest = text[:2], text[2:]
        if key not in _FIELDS:
            break
        length = _FIELDS[key]
        if length is None:
            value, _, text = rest.partition(_SEPARATOR)
        else:
            value, text = rest[:length], rest[length:].removeprefix(_SEPARATOR)
        found[key] = value
    return found
