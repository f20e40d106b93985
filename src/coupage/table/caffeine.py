"""How much caffeine a taster may take in: an estimate of our own, with all it assumes."""

from __future__ import annotations

from coupage.errors import InputError

__all__ = [
    "CAFFEINE_SHARE",
    "DAY_MG",
    "ONCE_MG",
    "SPIT_SHARE",
    "caffeine_per_spoon",
]

CAFFEINE_SHARE = (0.008, 0.014)
"""Caffeine in roasted arabica by dry mass, low and high (Belitz, Food Chemistry, 2009)."""
ONCE_MG, DAY_MG = 200, 400
"""No concern for healthy adults at once and in a day (EFSA Journal 2015;13(5):4102)."""
SPIT_SHARE = 0.2
"""What stays of a spoonful that is spat out: assumed, no published source."""


def caffeine_per_spoon(
    dose_grams: float,
    water_ml: float,
    *,
    spoon_ml: tuple[float, float] = (5.0, 7.0),
    share: tuple[float, float] = CAFFEINE_SHARE,
) -> tuple[float, float]:
    """Caffeine in one swallowed spoonful from a cupping bowl, in milligrams, low and high.

    Assumed: all caffeine of the dose goes into the water (it dissolves well, and the bowl steeps
    for many minutes), and the bowl is as strong everywhere. With canephora in the bowl it is about
    twice as much.

    Parameters
    ----------
    dose_grams, water_ml : float
        Of one bowl.
    spoon_ml : (float, float)
        Least and most that a tasting spoon brings.
    share : (float, float)
        Least and most caffeine by dry mass.

    Raises
    ------
    InputError
        When a mass or volume is not above zero.

    Examples
    --------
    8.25 g in 150 mL: 55 g/L, of which 0.44 to 0.77 mg/mL are caffeine.

    >>> [round(mg, 2) for mg in caffeine_per_spoon(8.25, 150)]
    [2.2, 5.39]
    """
    if not (dose_grams > 0 and water_ml > 0 and min(spoon_ml) > 0):
        raise InputError("dose, water and spoon must be above zero")
    low, high = (
        1000 * dose_grams * part / water_ml * spoon
        for part, spoon in zip(share, spoon_ml, strict=True)
    )
    return low, high
