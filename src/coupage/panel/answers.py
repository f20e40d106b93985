"""What the beliefs say, as plain results: profiles, comparisons, spread, tasters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from coupage.panel.gaussians import Line

__all__ = ["Belief", "Comparison", "JointComparison", "Spread", "TasterReport", "Verdict"]

Floats = NDArray[np.float64]
Verdict = Literal["same", "different", "not enough cups"]


@dataclass(frozen=True, slots=True)
class Belief:
    """Mean and doubt of one quantity: standard deviation, central 50 % and 90 % intervals."""

    mean: float
    sd: float
    low50: float
    high50: float
    low90: float
    high90: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """The difference a - b in one attribute.

    Attributes
    ----------
    chance_same
        Probability that the true difference is smaller than the tolerance.
    chance_higher, chance_lower
        Probability that a is above (below) b by more than the tolerance.
    verdict
        ``"same"`` when ``chance_same`` reaches the threshold; ``"different"`` when one of
        ``chance_higher`` and ``chance_lower`` does: doubt alone never makes two coffees differ.
    cup_sd
        Standard deviation that one further pair of cups adds to the difference.
    """

    difference: float
    sd: float
    low90: float
    high90: float
    chance_same: float
    chance_a_higher: float
    verdict: Verdict
    chance_higher: float
    chance_lower: float
    tolerance: float
    threshold: float
    cup_sd: float

    def further_cups(self, *, chance: float = 0.8, most: int = 1000) -> int | None:
        """Fewest further pairs of cups, one rating of each side, that settle it with ``chance``.

        What is believed now says where the difference may turn out to lie, and how likely the
        verdict then is (a Gaussian preposterior analysis [1]_). 0 when it is settled; None when
        ``most`` pairs would not do, as for a difference that lies just at the tolerance.

        References
        ----------
        .. [1] H. Raiffa and R. Schlaifer (1961), Applied Statistical Decision Theory, chapter 5.
        """
        if self.verdict != "not enough cups":
            return 0
        n = np.arange(1, most + 1)
        later = 1 / (1 / self.sd**2 + n / self.cup_sd**2)
        moving = np.sqrt(self.sd**2 - later)
        same, apart = _limits(np.sqrt(later), self.tolerance, self.threshold)
        m = self.difference
        settled = ndtr((-apart - m) / moving) + ndtr((m - apart) / moving)
        inside = ndtr((same - m) / moving) - ndtr((-same - m) / moving)
        settled = settled + np.where(same > 0, inside, 0)
        enough = np.flatnonzero(settled >= chance)
        return int(n[enough[0]]) if len(enough) else None


def _limits(sd: Floats, tolerance: float, threshold: float) -> tuple[Floats, Floats]:
    """Posterior means, in size, up to which it is "same" (0: never) and from which "different"."""
    apart = tolerance + ndtri(threshold) * sd
    low, high = np.zeros_like(sd), apart.copy()
    for _ in range(50):
        middle = (low + high) / 2
        inside = ndtr((tolerance - middle) / sd) - ndtr((-tolerance - middle) / sd)
        low, high = (
            np.where(inside >= threshold, middle, low),
            np.where(inside >= threshold, high, middle),
        )
    return low, apart


@dataclass(frozen=True, slots=True)
class JointComparison:
    """One verdict over all attributes.

    ``chance_same`` that all differences are within tolerance; ``chance_different`` the largest
    chance of any one attribute to differ in a known direction by more than that (doubts in many
    attributes must not add up to a difference). ``deciding`` is the attribute least likely to be
    the same. ``further_cups`` settles every open attribute with a chance of 80 %.
    """

    chance_same: float
    chance_different: float
    verdict: Verdict
    deciding: str
    further_cups: int | None


@dataclass(frozen=True, slots=True)
class Spread:
    """Where ratings differ: posterior mean standard deviations, in points.

    ``coffee`` and ``approach``: among lots, among ways to roast one lot (None unless some lot is
    on the table by several); ``pairing``: coefficients of pairs; ``batch`` None without named
    batches; ``disagreement`` None without repeated cups; ``cup``: what remains, a rating repeated.
    ``low90`` and ``high90`` by name.
    """

    coffee: float
    approach: float | None
    pairing: float
    batch: float | None
    taster: float
    cupping: float
    disagreement: float | None
    cup: float
    low90: Mapping[str, float]
    high90: Mapping[str, float]

    def shares(self) -> dict[str, float]:
        """Share of each source in the variance of a rating of a straight coffee."""
        parts = {
            name: value**2
            for name in ("coffee", "approach", "batch", "taster", "cupping", "disagreement", "cup")
            if (value := getattr(self, name)) is not None
        }
        total = sum(parts.values())
        return {name: part / total for name, part in parts.items()}


@dataclass(frozen=True, slots=True)
class TasterReport:
    """How one taster rates, by attribute.

    Attributes
    ----------
    ratings
        How many they gave.
    bias
        Points above (below) the table; its doubt shrinks with cups.
    noise
        Own standard deviation of a repeated rating.
    tells_apart
        Share of the variance of their ratings that stems from the samples (0 to 1): signal
        variance over signal plus noise, as a reliability [1]_.
    agreement
        Correlation of their ratings with the mean of the others on the same cups; None under
        three samples in common or without variation.

    References
    ----------
    .. [1] P. E. Shrout and J. L. Fleiss (1979), Psychological Bulletin 86, 420-428.
    """

    taster: str
    ratings: Mapping[str, int]
    bias: Mapping[str, Belief]
    noise: Mapping[str, Belief]
    tells_apart: Mapping[str, float | None]
    agreement: Mapping[str, float | None]


def beliefs_of(line: Line) -> list[Belief]:
    """One belief a row."""
    mean, sd = line.moments()
    ends = [line.quantile(level) for level in (0.25, 0.75, 0.05, 0.95)]
    table = np.column_stack([mean, sd, *ends]).tolist()
    return [Belief(*row) for row in table]


def belief_from_draws(values: Floats) -> Belief:
    """Belief from equally likely draws."""
    ends = np.quantile(values, [0.25, 0.75, 0.05, 0.95]).tolist()
    return Belief(float(values.mean()), float(values.std()), *ends)


def belief_normal(mean: float, sd: float) -> Belief:
    """Belief that is as good as Gaussian."""
    half, wide = 0.6744897501960817 * sd, 1.6448536269514722 * sd
    return Belief(mean, sd, mean - half, mean + half, mean - wide, mean + wide)


def compare_line(
    line: Line, tolerances: Floats, threshold: float, cup_sd: float
) -> list[Comparison]:
    """Comparisons from the mixtures of the differences, one a row."""
    mean, sd = line.moments()
    low, high, positive = line.quantile(0.05), line.quantile(0.95), 1 - line.below(0.0)
    out = []
    for i, tolerance in enumerate(tolerances.tolist()):
        one = Line(line.weights, line.means[i : i + 1], line.sds[i : i + 1])
        lower = float(one.below(-tolerance)[0])
        higher = 1 - float(one.below(tolerance)[0])
        same = max(0.0, 1 - lower - higher)
        out.append(
            Comparison(
                difference=float(mean[i]),
                sd=float(sd[i]),
                low90=float(low[i]),
                high90=float(high[i]),
                chance_same=same,
                chance_a_higher=float(positive[i]),
                verdict=decide(same, max(higher, lower), threshold),
                chance_higher=higher,
                chance_lower=lower,
                tolerance=tolerance,
                threshold=threshold,
                cup_sd=cup_sd,
            )
        )
    return out


def decide(same: float, different: float, threshold: float) -> Verdict:
    """The verdict's rule, one for all."""
    if same >= threshold:
        return "same"
    return "different" if different >= threshold else "not enough cups"


def joint_of(comparisons: Mapping[str, Comparison], threshold: float) -> JointComparison:
    """Attributes are independent given the design, so chances of being the same multiply."""
    same = float(np.prod([c.chance_same for c in comparisons.values()]))
    different = max(max(c.chance_higher, c.chance_lower) for c in comparisons.values())
    verdict = decide(same, different, threshold)
    further: int | None = 0
    if verdict == "not enough cups":
        # All must be the same together, so each must be surer than the whole.
        each = threshold ** (1 / len(comparisons))
        needed = [
            replace(c, threshold=each, verdict=decide(c.chance_same, 0.0, each)).further_cups()
            for c in comparisons.values()
        ]
        known = [n for n in needed if n is not None]
        further = max(known) if len(known) == len(needed) else None
    deciding = min(comparisons, key=lambda a: comparisons[a].chance_same)
    return JointComparison(same, different, verdict, deciding, further)
