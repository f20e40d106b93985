"""What is believed before the first cup, in points of the 0-10 scale.

Every standard deviation has a half-normal prior. The computing works on a coordinate in which
that prior is exactly standard normal: the posterior then has tails that no proposal can miss,
and a term the data say nothing about needs no special care.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import isfinite

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from coupage.errors import InputError

__all__ = ["Priors", "from_normal", "log_slope", "to_normal"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """The scales of the half-normal priors and the priors of what is not scaled by data.

    Attributes
    ----------
    mean, mean_sd
        Normal prior of the average coffee: the middle of the scale, give or take 0.3 of the scale.
    coffee
        How far coffees lie from the average (a lot, when lots and approaches are nested).
    approach
        How far approaches to one lot lie apart; used only when some lot has several.
    pairing
        Departure from linear blending, the coefficient of x_i x_j.
    batch, taster, cupping
        What one roast, one taster, one day adds.
    disagreement
        A taster's own view of one sample beyond bias; used only when tasters rate a sample
        more than once (repeated cups or passes), because nothing else can show it.
    noise
        A rating that is repeated by the same taster.
    noise_ratio
        Standard deviation of the logarithm of a taster's own noise around the common one;
        0 gives all tasters one noise. 0.3 means that two of three lie within a factor of 1.35.
    feature, passes, age
        Standard deviations, given and not estimated, of a lot feature's coefficient, of a pass
        against the average of the passes, and of the slope per day of age.
    rating_step
        Ratings come in steps of this size; rounding adds its square over twelve to the variance
        of a rating [1]_. It also keeps a table of equal ratings from claiming certainty.
    scale
        Lowest and highest rating that can be given.

    References
    ----------
    .. [1] W. F. Sheppard (1898), "On the calculation of the most probable values of frequency-
       constants for data arranged according to equidistant divisions of a scale", Proc. London
       Math. Soc. 29, 353-380.
    """

    mean: float = 5.0
    mean_sd: float = 3.0
    coffee: float = 2.0
    approach: float = 1.0
    pairing: float = 4.0
    batch: float = 0.5
    taster: float = 1.0
    cupping: float = 0.5
    disagreement: float = 1.0
    noise: float = 1.5
    noise_ratio: float = 0.3
    feature: float = 1.0
    passes: float = 1.0
    age: float = 0.05
    rating_step: float = 0.5
    scale: tuple[float, float] = (0.0, 10.0)

    def __post_init__(self) -> None:
        may_be_zero = {"noise_ratio", "rating_step", "mean"}
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name == "scale":
                if not value[0] < value[1]:
                    raise InputError(f"priors: scale {value} must run from low to high")
            elif not isfinite(value) or value < 0 or (value == 0 and field.name not in may_be_zero):
                raise InputError(
                    f"priors: {field.name} is {value!r}; give a finite number above 0, "
                    "in points of the scale"
                )

    @property
    def floor(self) -> float:
        """Variance that rounding to the rating's step adds."""
        return self.rating_step**2 / 12


def from_normal(v: Floats) -> Floats:
    """Half-normal value (scale 1) at the same quantile as the standard normal ``v``.

    Examples
    --------
    The median of a half-normal is 0.6745, the upper quartile of a normal:

    >>> round(float(from_normal(np.array(0.0))), 4)
    0.6745
    """
    # The upper tail keeps its digits; ndtr(v) would round to 1.
    return np.asarray(-ndtri(ndtr(-np.maximum(v, -7.9)) / 2))


def to_normal(s: Floats) -> Floats:
    """Inverse of :func:`from_normal`."""
    return np.asarray(-ndtri(2 * ndtr(-np.asarray(s))))


def log_slope(v: Floats, s: Floats) -> Floats:
    """Derivative of log(s) by v, where s = from_normal(v)."""
    return np.asarray(np.exp((s * s - v * v) / 2) / (2 * s))
