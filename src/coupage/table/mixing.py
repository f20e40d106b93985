"""Is a blend mixed? Samples from it against what a perfectly mixed lot would show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, chdtri

from coupage.errors import InputError
from coupage.table.scoop import scoop_error

__all__ = ["Mixing", "mixing_check"]


@dataclass(frozen=True, slots=True)
class Mixing:
    """What samples say about the mixing of a lot.

    Attributes
    ----------
    mean, spread : float
        Mean and standard deviation of the component's share in the samples, as fractions.
    expected : float
        Standard deviation of the share in samples from a perfectly mixed lot.
    chance : float
        Chance that a perfectly mixed lot shows this spread or more.
    samples : int
    mixed : bool
        Whether the spread is no more than chance explains, at the level that was asked for.
    detectable : float
        The true spread that this many samples would have found out with 80 % chance.
    """

    mean: float
    spread: float
    expected: float
    chance: float
    samples: int
    mixed: bool
    detectable: float


def mixing_check(
    shares: ArrayLike,
    proportions: ArrayLike,
    bean_grams: ArrayLike,
    sample_grams: float,
    *,
    component: int = 0,
    alpha: float = 0.05,
) -> Mixing:
    r"""Hold the spread of one component over samples against that of a perfectly mixed lot.

    Parameters
    ----------
    shares : (n,) array_like
        Mass share of the component in each sample, as fractions; at least 3.
    proportions, bean_grams, sample_grams
        As in `scoop_error`; the sample takes the place of the cup.
    component : int, default: 0
        Which of the proportions was sorted out and weighed.
    alpha : float, default: 0.05
        Chance of calling a perfectly mixed lot unmixed.

    Returns
    -------
    Mixing

    Raises
    ------
    InputError
        When there are fewer than 3 samples, a share is not a fraction, or the component is no part
        of the lot.

    Notes
    -----
    The one-sided chi-square test of a standard deviation [1]_: :math:`(n-1) s^2 / \sigma_0^2`
    with :math:`\sigma_0` from the theory of sampling loose particles. A few samples find only
    gross faults; ``detectable`` says how gross.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.8.

    Examples
    --------
    >>> mixing_check([0.28, 0.33, 0.30, 0.31], [0.3, 0.7], 0.13, 100).mixed
    True
    """
    seen = np.array(shares, dtype=float)
    if seen.ndim != 1 or seen.size < 3:
        raise InputError(f"shares: {seen.size} came; at least 3 samples are needed for a spread")
    if not ((seen >= 0) & (seen <= 1)).all():
        raise InputError("shares: each must be a fraction from 0 to 1 (30 % is 0.3)")
    if not 0 < alpha < 0.5:
        raise InputError(f"alpha: {alpha} came; it must lie between 0 and 0.5")
    expected = scoop_error(proportions, bean_grams, sample_grams)
    if not 0 <= component < len(expected) or expected[component] == 0:
        raise InputError(
            f"component: {component} came; choose one of several that are part of the lot"
        )
    sigma, df = float(expected[component]), seen.size - 1
    spread = float(seen.std(ddof=1))
    statistic = df * spread**2 / sigma**2
    chance = float(chdtrc(df, statistic))
    limit = chdtri(df, alpha)
    return Mixing(
        mean=float(seen.mean()),
        spread=spread,
        expected=sigma,
        chance=chance,
        samples=int(seen.size),
        mixed=bool(chance >= alpha),
        detectable=float(sigma * np.sqrt(limit / chdtri(df, 0.8))),
    )
