"""Several answers from each taster: the beta-binomial, corrected for guessing.

Answers of one taster hang together: a keen one is right more often, again and again. Pooled as if
they came from strangers, they look more certain about guests than they are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtrc, chdtrc, gammaln, ndtri

from coupage.difference.exact import min_correct
from coupage.difference.intervals import crossing, exact_lower, exact_upper
from coupage.difference.judgement import Verdict, key_doubt, sentence_of, verdict_of
from coupage.difference.protocols import (
    TestName,
    check_answers,
    check_risk,
    check_share,
    correct_from_share,
    guess_chance,
    share_from_correct,
)
from coupage.difference.thurstone import d_prime
from coupage.errors import InputError

__all__ = ["RepeatedJudgement", "beta_binomial_logpmf", "judge_repeated"]

FloatArray = NDArray[np.float64]
_LARGEST_SPREAD = 0.999


@dataclass(frozen=True, slots=True)
class RepeatedJudgement:
    """Outcome of a difference test in which tasters answered more than once.

    Attributes
    ----------
    test : str
    correct, n : tuple of int
        Right answers and answers, one entry per taster.
    pd, alpha, beta, level : float
        As in `judge`.
    verdict, sentence : str
        As in `judge`, with `at_most` in place of the exact bar for likeness.
    p_different : float
        Exact chance of so many right answers, or more, when nobody can tell; then all answers are
        independent guesses, however many come from one taster.
    discriminators, discriminators_low, discriminators_high : float
        Mean share of moments in which a taster of this kind tells, with profile likelihood limits.
    spread : float
        How much tasters differ, from 0 (all alike) to 1 (some always tell, the others never):
        the overdispersion 1 / (a + b + 1) of the beta distribution.
    p_spread : float
        Chance of so much spread or more when all tasters are alike (likelihood ratio, half of it
        at the boundary).
    at_least, at_most : float
        One-sided limits of the mean share, the wider of profile likelihood and pooled exact limit.
    """

    test: TestName
    correct: tuple[int, ...]
    n: tuple[int, ...]
    pd: float
    alpha: float
    beta: float
    level: float
    verdict: Verdict
    sentence: str
    p_different: float
    discriminators: float
    discriminators_low: float
    discriminators_high: float
    spread: float
    p_spread: float
    at_least: float
    at_most: float

    @property
    def d_prime(self) -> float:
        """Thurstonian distance at which one taster of average skill is right as often."""
        return self._distance(self.discriminators)

    @property
    def d_prime_low(self) -> float:
        """Distance at the lower limit of the mean share."""
        return self._distance(self.discriminators_low)

    @property
    def d_prime_high(self) -> float:
        """Distance at the upper limit of the mean share."""
        return self._distance(self.discriminators_high)

    def _distance(self, share: float) -> float:
        return d_prime(self.test, correct_from_share(self.test, share))


def beta_binomial_logpmf(
    correct: int, n: int, *, guess: float, mean: float, spread: float
) -> float:
    """Log chance of so many right answers when the share who tell varies as a beta distribution.

    A taster tells with probability u, beta distributed over tasters, and guesses otherwise, so an
    answer is right with probability guess + (1 - guess) u.

    Parameters
    ----------
    correct, n : int
        Right answers and answers of one taster.
    guess, mean, spread : float
        Chance of guessing right; mean of u; overdispersion 1 / (a + b + 1) in [0, 1).

    References
    ----------
    .. [1] P. B. Brockhoff, "The statistical power of replications in difference tests", Food Qual.
       Pref. 14 (2003) 405-417 (the chance-corrected beta-binomial).

    Examples
    --------
    With nothing to guess and mean 1/2, spread 1/3, u is uniform and so are the counts.

    >>> import math
    >>> round(math.exp(beta_binomial_logpmf(2, 4, guess=0, mean=0.5, spread=1 / 3)), 6)
    0.2
    """
    return float(_Likelihood([correct], [n], guess)(mean, np.array([float(spread)]))[0])


class _Likelihood:
    """Log likelihood of the corrected beta-binomial, tasters with equal counts taken together."""

    def __init__(self, correct: Sequence[int], n: Sequence[int], guess: float) -> None:
        pairs = Counter(zip(correct, n, strict=True))
        self.times = np.array(list(pairs.values()), dtype=float)
        x = np.array([pair[0] for pair in pairs])[:, None]
        size = np.array([pair[1] for pair in pairs])[:, None]
        # Of x right answers j were told and x - j guessed; every term is positive.
        told = np.arange(int(x.max()) + 1)[None, :]
        inside = told <= x
        guessed = np.where(inside, x - told, 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            chance = np.where(guessed > 0, guessed * np.log(guess), 0.0)
        terms = gammaln(size + 1) - gammaln(size - x + 1)
        terms = terms - gammaln(np.minimum(told, x) + 1) - gammaln(guessed + 1)
        terms = terms + chance + (size - guessed) * np.log1p(-guess)
        self.terms: FloatArray = np.where(inside, terms, -np.inf)
        self.told, self.missed = np.broadcast_to(told, terms.shape), size - x
        self.longest = int(size.max())
        self.all = np.minimum(self.told + self.missed, self.longest)

    def __call__(self, mean: float, spreads: FloatArray) -> FloatArray:
        """Log likelihood at one mean, for every spread of a row of them."""
        # Rising factorials scaled by a + b stay exact down to spread 0, the plain binomial.
        steps = (spreads / (1 - spreads))[:, None] * np.arange(self.longest)
        first = np.zeros((len(spreads), 1))
        with np.errstate(divide="ignore"):
            rise_told, rise_missed, rise = (
                np.hstack([first, np.cumsum(np.log(base + steps), axis=1)])
                for base in (mean, 1 - mean, 1.0)
            )
        each = self.terms + rise_told[:, self.told] + rise_missed[:, self.missed]
        each = each - rise[:, self.all]
        top = each.max(axis=2)
        # A taster whose count is impossible has only minus infinities.
        level = np.where(np.isneginf(top), 0.0, top)
        with np.errstate(divide="ignore"):
            logs = np.log(np.exp(each - level[:, :, None]).sum(axis=2)) + level
        total: FloatArray = logs @ self.times
        return total

    def best_spread(self, mean: float) -> tuple[float, float]:
        """Spread of greatest likelihood at a mean, and that likelihood."""
        if mean in {0.0, 1.0}:
            return 0.0, float(self(mean, np.zeros(1))[0])
        return _climb(lambda spreads: self(mean, spreads), _LARGEST_SPREAD)

    def profile(self, mean: float) -> float:
        """Greatest log likelihood at a mean."""
        return self.best_spread(mean)[1]

    def best_mean(self) -> tuple[float, float]:
        """Mean of greatest profile likelihood, and that likelihood."""
        return _climb(lambda means: np.array([self.profile(float(m)) for m in means]), 1.0)


def _climb(curve: Callable[[FloatArray], FloatArray], end: float) -> tuple[float, float]:
    """Highest point of a curve from 0 to `end`, ends included, by ever finer grids."""
    low, high = 0.0, end
    best, height = 0.0, -np.inf
    for _ in range(8):
        grid = np.linspace(low, high, 13)
        heights = curve(grid)
        at = int(np.argmax(heights))
        if heights[at] > height:
            best, height = float(grid[at]), float(heights[at])
        low, high = float(grid[max(at - 1, 0)]), float(grid[min(at + 1, 12)])
    return best, height


def _counts(correct: ArrayLike, n: ArrayLike) -> tuple[tuple[int, ...], tuple[int, ...]]:
    right = np.atleast_1d(np.asarray(correct))
    if right.ndim != 1 or not len(right):
        raise InputError("correct: give the number of right answers of each taster")
    try:
        sizes = np.broadcast_to(np.asarray(n), right.shape)
    except ValueError:
        raise InputError(
            f"n: {np.size(n)} counts came for {len(right)} tasters; give one each, or one for all"
        ) from None
    for x, size in zip(right.tolist(), sizes.tolist(), strict=True):
        check_answers(x, size)
    return tuple(int(x) for x in right), tuple(int(size) for size in sizes)


def judge_repeated(
    test: TestName,
    correct: ArrayLike,
    n: ArrayLike,
    *,
    pd: float,
    alpha: float = 0.05,
    beta: float = 0.05,
    level: float = 0.95,
) -> RepeatedJudgement:
    """Judge a difference test in which tasters answered more than once.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    correct, n : (t,) array_like of int
        Right answers and answers of each taster; one `n` serves for all.
    pd, alpha, beta, level
        As in `judge`.

    Returns
    -------
    RepeatedJudgement

    Raises
    ------
    InputError
        When counts or risks are out of range.

    Notes
    -----
    A difference is judged by the pooled exact test, which needs no model: when nobody can tell,
    all answers are independent guesses [2]_. Likeness is judged by the beta-binomial's limit [1]_,
    never by less than the pooled exact limit, because few tasters say little about guests however
    often they taste.

    References
    ----------
    .. [1] P. B. Brockhoff, Food Qual. Pref. 14 (2003) 405-417.
    .. [2] J. Kunert and M. Meyners, "On the triangle test with replications", Food Qual. Pref. 10
       (1999) 477-482.

    Examples
    --------
    >>> result = judge_repeated("triangle", [1, 2, 1, 0, 2, 1, 1, 2, 1, 1], 4, pd=0.3)
    >>> result.sentence
    'Guests are unlikely to notice (at most 17 % could, 95 % sure).'
    """
    right, sizes = _counts(correct, n)
    guess = guess_chance(test)
    check_share(pd, "pd")
    for risk, name in ((alpha, "alpha"), (beta, "beta"), (level, "level")):
        check_risk(risk, name)
    likelihood = _Likelihood(right, sizes, guess)
    mean, top = likelihood.best_mean()
    spread = likelihood.best_spread(mean)[0]

    def limit(drop: float, end: float) -> float:
        return crossing(likelihood.profile, top - drop, mean, end)

    two_sided = float(ndtri((1 + level) / 2)) ** 2 / 2
    below, above = (max(0.0, float(ndtri(1 - risk))) ** 2 / 2 for risk in (alpha, beta))
    answers, total = sum(sizes), sum(right)
    exact_low = share_from_correct(test, exact_lower(total, answers, alpha))
    exact_high = share_from_correct(test, exact_upper(total, answers, beta))
    at_least, at_most = min(limit(below, 0.0), exact_low), max(limit(above, 1.0), exact_high)
    different = total >= min_correct(test, answers, alpha)
    # The pooled exact bar for likeness is met too, at_most being no less than its limit.
    similar = at_most <= pd
    verdict = verdict_of(different, similar)
    excess = max(0.0, 2 * (top - float(likelihood(mean, np.zeros(1))[0])))
    return RepeatedJudgement(
        test=test,
        correct=right,
        n=sizes,
        pd=float(pd),
        alpha=alpha,
        beta=beta,
        level=level,
        verdict=verdict,
        sentence=sentence_of(
            verdict,
            share=mean,
            at_least=at_least,
            at_most=at_most,
            alpha=alpha,
            beta=beta,
            needed=None,
        )
        + key_doubt(total, answers, guess),
        p_different=float(bdtrc(total - 1, answers, guess)) if total else 1.0,
        discriminators=mean,
        discriminators_low=limit(two_sided, 0.0),
        discriminators_high=limit(two_sided, 1.0),
        spread=spread,
        p_spread=float(chdtrc(1, excess)) / 2 if excess > 0 else 1.0,
        at_least=at_least,
        at_most=at_most,
    )
