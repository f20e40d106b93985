"""Scooping: what a cup drawn from a ready-mixed lot holds, when a cup is only a few dozen beans."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln

from coupage.errors import InputError

__all__ = ["absent_chance", "scoop_advice", "scoop_error"]

FloatArray = NDArray[np.float64]


def _checked(
    proportions: ArrayLike, bean_grams: ArrayLike, cup_grams: float, lot_grams: float | None
) -> tuple[FloatArray, FloatArray]:
    x = np.atleast_1d(np.array(proportions, dtype=float))
    if x.ndim != 1 or not (x >= 0).all() or abs(x.sum() - 1) > 1e-6:
        raise InputError(
            f"proportions: {x.tolist()} came; they must be fractions from 0 to 1 that sum to 1"
        )
    try:
        beans = np.broadcast_to(np.array(bean_grams, dtype=float), x.shape)
    except ValueError:
        raise InputError(
            f"bean_grams: {np.shape(bean_grams)[0]} masses came for {len(x)} components; give one "
            "each, or one for all (weigh 100 counted beans and divide by 100)"
        ) from None
    if not ((beans > 0) & np.isfinite(beans)).all():
        raise InputError(f"bean_grams: {beans.tolist()} came; each must be a positive mass")
    if not 0 < cup_grams < np.inf:
        raise InputError(f"cup_grams: {cup_grams} came; it must be a positive mass")
    if lot_grams is not None and not cup_grams <= lot_grams < np.inf:
        raise InputError(
            f"lot_grams: {lot_grams} came; a lot must hold at least the cup of {cup_grams} g "
            "(leave it out for a lot much larger than the cup)"
        )
    return x, beans


def scoop_error(
    proportions: ArrayLike,
    bean_grams: ArrayLike,
    cup_grams: float,
    *,
    lot_grams: float | None = None,
    bean_cv: ArrayLike = 0.0,
) -> FloatArray:
    r"""Standard deviation of each component's mass share in a cup scooped from a mixed lot.

    The lot is taken as perfectly mixed; a real one is at best that, so this is a floor.

    Parameters
    ----------
    proportions : (q,) array_like
        Mass fractions of the lot, summing to 1.
    bean_grams : (q,) array_like or float
        Mean mass of one bean of each component in grams, as weighed (roasted for roasted).
    cup_grams : float
        Mass of the scoop in grams.
    lot_grams : float, optional
        Mass of the lot; infinite when left out.
    bean_cv : (q,) array_like or float, default: 0
        Coefficient of variation of bean mass within a component, as a fraction.

    Returns
    -------
    (q,) array
        Standard deviations as fractions of the cup (0.04 is 4 points).

    Raises
    ------
    InputError
        When a fraction or mass is out of range or the cup is larger than the lot.

    Notes
    -----
    The share is a ratio of two random masses, since beans of different coffees weigh differently.
    A bean b of mass :math:`m_b` adds :math:`y_b = m_b(1[b \in i] - x_i)` to
    :math:`M (W_i - x_i)`, where M is the mass scooped; over the lot the :math:`y_b` sum to zero.
    Simple random sampling of n of N beans, with M replaced by its mean, gives [1]_

    .. math:: \mathrm{var}\,W_i = \frac{1}{M} \frac{N-n}{N-1}
       \Big[ x_i (1-x_i)^2 m_i (1+c_i^2) + x_i^2 \sum_{j \ne i} x_j m_j (1+c_j^2) \Big].

    For equal beans it is the multivariate hypergeometric variance exactly; for two components and
    a large lot it is the fundamental sampling error of loose particles [2]_. Otherwise it is the
    first order in 1/n: within about 1 % for a cup of 60 beans.

    References
    ----------
    .. [1] W. G. Cochran, Sampling Techniques, 3rd ed., 1977, section 2.11 (ratio estimates; from
       memory).
    .. [2] P. M. Gy, Sampling of Particulate Materials, 1979 (composition factor of liberated
       particles; from memory).

    Examples
    --------
    A tenth of the lot, in a cupping bowl: 10 % give or take 4 points.

    >>> scoop_error([0.1, 0.9], [0.15, 0.13], 8.25).round(4).tolist()
    [0.0402, 0.0402]
    """
    x, beans = _checked(proportions, bean_grams, cup_grams, lot_grams)
    cv = np.array(bean_cv, dtype=float)
    if not ((cv >= 0) & np.isfinite(cv)).all() or cv.ndim > 1 or cv.size not in {1, len(x)}:
        raise InputError(
            f"bean_cv: {cv.tolist()} came; give fractions of 0 or more, one or one each"
        )
    heft = x * beans * (1 + cv**2)
    variance = ((1 - x) ** 2 * heft + x**2 * (heft.sum() - heft)) / cup_grams
    if lot_grams is not None:
        mean_bean = 1 / (x / beans).sum()
        rest = lot_grams - cup_grams
        variance *= rest / (lot_grams - mean_bean) if rest > 0 else 0.0
    sd: FloatArray = np.sqrt(variance)
    return sd


def absent_chance(
    proportions: ArrayLike,
    bean_grams: ArrayLike,
    cup_grams: float,
    *,
    lot_grams: float | None = None,
) -> FloatArray:
    """Chance that a cup scooped from a mixed lot holds no bean at all of each component.

    Parameters are those of `scoop_error`. The number of beans in the cup is its mass over the
    mean bean, to the nearest whole; the draw is binomial, or hypergeometric when the lot is given.

    Returns
    -------
    (q,) array
        Probabilities.

    Examples
    --------
    A 5 % component is missing from one bowl in 25.

    >>> absent_chance([0.05, 0.95], 0.13, 8.25).round(3).tolist()
    [0.039, 0.0]
    """
    x, beans = _checked(proportions, bean_grams, cup_grams, lot_grams)
    per_gram = x / beans
    n = max(1.0, np.rint(cup_grams * per_gram.sum()))
    if lot_grams is None:
        chance: FloatArray = (1 - per_gram / per_gram.sum()) ** n
        return chance
    own = np.rint(lot_grams * per_gram)
    total = own.sum()
    others = total - own
    # C(others, n) / C(total, n), as logs; impossible where fewer others are left than are drawn.
    possible = others >= n
    left = np.where(possible, others - n, 0.0)
    log_chance = gammaln(others + 1) - gammaln(left + 1) - gammaln(total + 1)
    log_chance = log_chance + gammaln(max(total - n, 0.0) + 1)
    return np.where(possible, np.exp(log_chance), 0.0)


def scoop_advice(
    proportions: ArrayLike,
    bean_grams: ArrayLike,
    cup_grams: float,
    *,
    lot_grams: float | None = None,
    tolerance: float = 0.02,
) -> str:
    """One sentence for the host: weigh components into each cup, or accept what a scoop costs.

    Parameters
    ----------
    proportions, bean_grams, cup_grams, lot_grams
        As in `scoop_error`.
    tolerance : float, default: 0.02
        Share of the cup by which a component may be off in 19 cups of 20.

    Examples
    --------
    >>> print(scoop_advice([0.4, 0.35, 0.25], 0.13, 350, lot_grams=2000))
    A scoop from the mixed lot will do: it is off by up to 2 points in 19 of 20 cups.
    """
    sd = scoop_error(proportions, bean_grams, cup_grams, lot_grams=lot_grams)
    off = 1.96 * float(sd.max())
    points = f"{off * 100:.0f}" if off >= 0.01 else f"{off * 100:.1f}"
    points += " point" if points == "1" else " points"
    if off > tolerance:
        return (
            "Weigh the components into each cup: a scoop from the mixed lot is off by up to "
            f"{points} in 19 of 20 cups."
        )
    return f"A scoop from the mixed lot will do: it is off by up to {points} in 19 of 20 cups."
