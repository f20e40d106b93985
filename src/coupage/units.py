"""Masses, shares and temperatures: exact at rest, friendly on show.

Masses rest as whole grams (or milligrams in a cup), shares as whole parts per million, so that
"these add up to everything" is integer arithmetic and a database can check it.

References
----------
.. [1] BIPM, The International System of Units (SI Brochure), 9th ed., 2019, section 3 (prefixes).
.. [2] NIST Handbook 44 (2024), Appendix C: the avoirdupois pound is 0.453 592 37 kg exactly and
   the ounce is 1/16 pound.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import Literal

from coupage.errors import InputError

__all__ = [
    "GRAMS_PER_KG",
    "GRAMS_PER_LB",
    "GRAMS_PER_OZ",
    "PPM",
    "MassUnit",
    "grams",
    "parse_number",
    "show_bag",
    "show_mass",
    "show_share",
    "whole_shares",
]

MassUnit = Literal["kg", "g", "lb", "oz"]
GRAMS_PER_KG = Decimal(1000)
GRAMS_PER_LB = Decimal("453.59237")
GRAMS_PER_OZ = GRAMS_PER_LB / 16
PPM = 1_000_000
_LONGEST_NUMBER = 100
_MOST_DIGITS = 30

_GRAMS: dict[MassUnit, Decimal] = {
    "kg": GRAMS_PER_KG,
    "g": Decimal(1),
    "lb": GRAMS_PER_LB,
    "oz": GRAMS_PER_OZ,
}


def parse_number(text: str, what: str = "number") -> Decimal:
    """Read a number as people type it: ``14.2``, ``14,2``, ``1 250``, ``1'250.5``.

    A lone comma is a decimal comma. When both marks occur, the last one is the decimal mark; a mark
    that occurs more than once between groups of three digits parts thousands.

    Raises
    ------
    InputError
        When the text is not a finite number, or one that no scale or price ever shows: beyond
        30 digits before the point or after it. ``1e999999999`` is short to type, and writing it
        out would take all memory.

    Examples
    --------
    >>> parse_number("14,2"), parse_number("1.250,5"), parse_number("1,250.5")
    (Decimal('14.2'), Decimal('1250.5'), Decimal('1250.5'))
    """
    if len(text) > _LONGEST_NUMBER:
        raise InputError(f"{what}: {text[:20]!r}... is too long for a number; write it like 14.2")
    plain = "".join(text.split()).replace("'", "").replace("’", "").replace("−", "-")
    if "," in plain and "." in plain:
        thousands = "," if plain.rfind(",") < plain.rfind(".") else "."
        plain = plain.replace(thousands, "")
    elif re.fullmatch(r"[+-]?\d{1,3}(([,.])\d{3})(\2\d{3})+", plain):
        plain = plain.replace(",", "").replace(".", "")
    if plain.count(",") <= 1:
        plain = plain.replace(",", ".")
    try:
        number = Decimal(plain)
    except InvalidOperation:
        raise InputError(f"{what}: {text!r} is not a number; write it like 14.2 or 14,2") from None
    if not number.is_finite():
        raise InputError(f"{what}: {text!r} is not a finite number; write it like 14.2")
    if number and abs(number.adjusted()) >= _MOST_DIGITS:
        raise InputError(f"{what}: {text!r} is out of all measure; write it like 14.2")
    # Nought comes in many writings ("-0", "0e999999999"); one of them is enough.
    return number or Decimal(0)


def grams(amount: Decimal | int | str, unit: MassUnit = "kg") -> int:
    """Turn a mass in a unit into whole grams, halves to even.

    Examples
    --------
    >>> grams("14.2"), grams(1, "lb")
    (14200, 454)
    """
    if unit not in _GRAMS:
        raise InputError(f"unit: {unit!r} is not a mass unit; use one of {', '.join(_GRAMS)}")
    return int((Decimal(amount) * _GRAMS[unit]).to_integral_value(ROUND_HALF_EVEN))


def show_mass(mass_g: Decimal | int, unit: MassUnit = "kg", places: int | None = None) -> str:
    """Write a mass in grams in the unit a person reads.

    Examples
    --------
    >>> show_mass(14200), show_mass(8, "g"), show_mass(454, "lb"), show_mass(60000)
    ('14.2 kg', '8 g', '1.00 lb', '60.0 kg')
    """
    default = {"kg": 1, "g": 0, "lb": 2, "oz": 1}[unit]
    value = Decimal(mass_g) / _GRAMS[unit]
    return f"{value:.{default if places is None else places}f} {unit}"


def show_bag(mass_g: int, unit: MassUnit = "kg") -> str:
    """Write the size of a bag as its label does: grams below a kilogram, and no idle zeros.

    Examples
    --------
    >>> show_bag(250), show_bag(1000), show_bag(2500), show_bag(340, "lb"), show_bag(2268, "lb")
    ('250 g', '1 kg', '2.5 kg', '12 oz', '5 lb')
    """
    small, large = ("oz", "lb") if unit in {"lb", "oz"} else ("g", "kg")
    named: MassUnit = small if mass_g < int(_GRAMS[large]) else large  # type: ignore[index,assignment]
    value = Decimal(mass_g) / _GRAMS[named]
    places = 3 if named == "kg" else 1
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return f"{text} {named}"


def show_share(share_ppm: int, places: int | None = None) -> str:
    """Write a share in parts per million as per cent, with the digits it needs.

    Examples
    --------
    >>> show_share(350_000), show_share(333_333), show_share(125_000)
    ('35 %', '33.33 %', '12.5 %')
    """
    if places is not None:
        return f"{Decimal(share_ppm) / 10_000:.{places}f} %"
    text = f"{Decimal(share_ppm) / 10_000:.2f}".rstrip("0").rstrip(".")
    return f"{text} %"


def whole_shares(shares: Sequence[float], total: int = PPM) -> list[int]:
    """Turn fractions that sum to 1 into whole parts that sum to ``total`` exactly.

    Largest remainder (Hamilton): floors first, then one part each to the largest remainders,
    earlier entries first on ties.

    Raises
    ------
    InputError
        When a share is negative or the sum is further than 1e-6 from 1.

    Examples
    --------
    >>> whole_shares([1 / 3, 1 / 3, 1 / 3])
    [333334, 333333, 333333]
    """
    if any(not 0 <= s <= 1 for s in shares) or abs(sum(shares) - 1) > 1e-6:
        raise InputError(
            f"shares: {[round(s, 6) for s in shares]} sum to {sum(shares):.6f}; "
            "they must be fractions from 0 to 1 that sum to 1"
        )
    exact = [s * total / sum(shares) for s in shares]
    parts = [int(e) for e in exact]
    by_remainder = sorted(range(len(parts)), key=lambda i: (parts[i] - exact[i], i))
    for i in by_remainder[: total - sum(parts)]:
        parts[i] += 1
    return parts
