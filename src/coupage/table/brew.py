"""Brewing sums: water for a dose, extraction yield, milk.

Strength (TDS) and yield are fractions: 1.25 % is 0.0125.
"""

from __future__ import annotations

from coupage.errors import InputError

__all__ = [
    "CUPPING_GRAMS_PER_ML",
    "dose_grams",
    "extraction_immersion",
    "extraction_percolation",
    "milk_dilution",
    "milk_strength",
    "water_ml",
]

CUPPING_GRAMS_PER_ML = 8.25 / 150
"""Cupping dose per volume of water, +- 0.25 g in 150 mL (SCA Coffee Standards 2018, s. 3.1)."""


def _positive(**masses: float) -> None:
    for name, value in masses.items():
        if not 0 < value < float("inf"):
            raise InputError(f"{name}: {value} came; it must be a positive number")


def _strength(tds: float) -> None:
    if not 0 <= tds < 1:
        raise InputError(f"tds: {tds} came; it must be a fraction from 0 to 1 (1.25 % is 0.0125)")


def water_ml(dose_grams: float, *, grams_per_ml: float = CUPPING_GRAMS_PER_ML) -> float:
    """Water in millilitres for a dose in grams, by the protocol's ratio.

    Examples
    --------
    >>> round(water_ml(11.0), 6)
    200.0
    """
    _positive(dose_grams=dose_grams, grams_per_ml=grams_per_ml)
    return dose_grams / grams_per_ml


def dose_grams(water_ml: float, *, grams_per_ml: float = CUPPING_GRAMS_PER_ML) -> float:
    """Dose in grams for a vessel that takes this much water in millilitres.

    Examples
    --------
    >>> round(dose_grams(150), 6)
    8.25
    """
    _positive(water_ml=water_ml, grams_per_ml=grams_per_ml)
    return water_ml * grams_per_ml


def extraction_percolation(tds: float, beverage_grams: float, dose_grams: float) -> float:
    """Extraction yield when the brew leaves the bed (espresso, drip): what is in the cup.

    The yield is dissolved solids over dose, ``tds * beverage / dose`` (mass balance).

    Examples
    --------
    9.5 % at a ratio of 2 : 1 is 19 % (trade example).

    >>> round(extraction_percolation(0.095, 36, 18), 4)
    0.19
    """
    _strength(tds)
    _positive(beverage_grams=beverage_grams, dose_grams=dose_grams)
    return tds * beverage_grams / dose_grams


def extraction_immersion(tds: float, water_grams: float, dose_grams: float) -> float:
    """Extraction yield when grounds and brew stay together (cupping bowl, press).

    The liquor held back in the grounds is as strong as the brew, so all the water counts:
    ``tds * water / dose``. Strictly the liquor weighs ``water / (1 - tds)``; the usual form leaves
    that out, which makes a cupping's yield about one part in eighty too low.

    Examples
    --------
    >>> round(extraction_immersion(0.012, 150, 8.25), 3)
    0.218
    """
    _strength(tds)
    _positive(water_grams=water_grams, dose_grams=dose_grams)
    return tds * water_grams / dose_grams


def milk_strength(tds: float, espresso_grams: float, milk_grams: float) -> float:
    """Coffee solids as a fraction of a milk drink's mass.

    Examples
    --------
    >>> round(milk_strength(0.09, 36, 144), 4)
    0.018
    """
    _strength(tds)
    return tds / milk_dilution(espresso_grams, milk_grams)


def milk_dilution(espresso_grams: float, milk_grams: float) -> float:
    """How many times the drink weighs what its espresso weighs.

    Examples
    --------
    >>> milk_dilution(25, 125)
    6.0
    """
    _positive(espresso_grams=espresso_grams)
    if not 0 <= milk_grams < float("inf"):
        raise InputError(f"milk_grams: {milk_grams} came; it must be 0 or more grams")
    return (espresso_grams + milk_grams) / espresso_grams
