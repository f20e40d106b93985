"""Are the cups of one sample alike? Two-way analysis of variance, cups by tasters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

from coupage.errors import InputError

__all__ = ["CupUniformity", "cup_uniformity"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CupUniformity:
    """Whether cups of one sample differ by more than tasters' own scatter explains.

    Attributes
    ----------
    cups, tasters
        How many of each.
    f, p
        Mean square between cups over the residual one, and the chance of one so large from equal
        cups. 1 and 1 where nothing scatters at all; p is 0 where only the cups do.
    cup_sd
        Standard deviation between cups beyond that scatter; 0 where there is none to be seen.
    deviations
        Each cup's mean minus the mean of all, shape ``(cups,)``.
    """

    cups: int
    tasters: int
    f: float
    p: float
    cup_sd: float
    deviations: Floats

    @property
    def furthest(self) -> int:
        """Position of the cup furthest from the others."""
        return int(np.abs(self.deviations).argmax())


def cup_uniformity(ratings: ArrayLike) -> CupUniformity:
    """Test whether cups of one sample are alike in one attribute.

    Parameters
    ----------
    ratings : (c, t) array_like
        Cups in rows, tasters in columns, at least 2 each, none missing.

    Returns
    -------
    CupUniformity

    Raises
    ------
    InputError
        When the table is too small or has gaps.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 3.2.3.3, two-way crossed analysis of
       variance.

    Examples
    --------
    >>> result = cup_uniformity([[5, 6, 5.5], [5.5, 6, 5], [3, 4, 3]])
    >>> result.furthest, bool(result.p < 0.01)
    (2, True)
    """
    y = np.asarray(ratings, dtype=float)
    if y.ndim != 2 or min(y.shape) < 2 or not np.isfinite(y).all():
        raise InputError("ratings: give a full table, at least 2 cups (rows) by 2 tasters")
    c, t = y.shape
    centre, rows, columns = y.mean(), y.mean(axis=1), y.mean(axis=0)
    between = t * float(((rows - centre) ** 2).sum()) / (c - 1)
    error = float(((y - rows[:, None] - columns + centre) ** 2).sum()) / ((c - 1) * (t - 1))
    if error > 1e-12:
        f = between / error
        p = float(fdtrc(c - 1, (c - 1) * (t - 1), f))
    else:
        f, p = (1.0, 1.0) if between <= 1e-12 else (float("inf"), 0.0)
    sd = float(np.sqrt(max(0.0, (between - error) / t)))
    return CupUniformity(c, t, f, p, sd, rows - centre)
