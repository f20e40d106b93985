"""Criticism a roaster can act on: odd ratings, swapped codes, samples the model did not expect."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit, ndtr

from coupage.errors import InputError
from coupage.panel.answers import Verdict
from coupage.panel.beliefs import Beliefs
from coupage.panel.columns import Ratings, Samples, read_ratings, read_samples
from coupage.panel.conflict import conflicts
from coupage.panel.fitting import fit
from coupage.panel.predictive import PredictiveCheck, predictive_checks
from coupage.panel.reading import Columns, Reader, nearest
from coupage.panel.residuals import Residuals, residuals_of

__all__ = [
    "LeftOutSample",
    "OddRating",
    "Review",
    "SwappedCodes",
    "VerdictChange",
    "review",
    "verdicts_without",
]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

LOOKED_AT_ONCE = 2000
# Before looking, one pair of codes in five hundred is taken to be swapped.
SWAP_PRIOR = 0.002


@dataclass(frozen=True, slots=True)
class OddRating:
    """A rating far from what all others let expect.

    Attributes
    ----------
    row
        Row of the ratings, counted from 1.
    expected, sd
        What the other ratings predict, and the doubt of that prediction.
    chance
        Probability of a rating at least that far off.
    meant
        A likely slip: the rating that would fit (the decimal point moved, the scale read from
        its other end); None when no such slip explains it.
    moves
        Points by which the sample's own level would move without this rating.
    """

    row: int
    cupping: str
    taster: str
    sample: str
    attribute: str
    rating: float
    expected: float
    sd: float
    chance: float
    meant: float | None
    moves: float


@dataclass(frozen=True, slots=True)
class SwappedCodes:
    """Two samples whose ratings by one taster fit better exchanged; ``chance`` that they were."""

    cupping: str
    taster: str
    first: str
    second: str
    chance: float


@dataclass(frozen=True, slots=True)
class LeftOutSample:
    """How all other samples predict the mean rating of this one."""

    sample: str
    observed: float
    predicted: float
    sd: float

    @property
    def inside(self) -> bool:
        """Whether the observation lies in the 90 % interval of the prediction."""
        return abs(self.observed - self.predicted) < 1.6448536269514722 * self.sd


@dataclass(frozen=True, slots=True)
class Review:
    """Everything odd about a table, and how well the model predicts what it has not seen."""

    odd: tuple[OddRating, ...]
    swapped: tuple[SwappedCodes, ...]
    left_out: Mapping[str, tuple[LeftOutSample, ...]]
    predictive: Mapping[str, tuple[PredictiveCheck, ...]]
    conflicts: tuple[str, ...]

    def error(self, attribute: str) -> float:
        """Root mean square error of predicting samples left out, in points."""
        errors = [s.observed - s.predicted for s in self.left_out[attribute]]
        return float(np.sqrt(np.mean(np.square(errors))))

    def coverage(self, attribute: str) -> float:
        """Share of samples left out that fall into their 90 % interval."""
        return float(np.mean([s.inside for s in self.left_out[attribute]]))


def review(
    ratings: Columns,
    samples: Columns,
    beliefs: Beliefs,
    *,
    features: Columns | None = None,
    cuppings: Sequence[str] | None = None,
    rare: float = 0.05,
) -> Review:
    """Look for what does not fit, in the table from which ``beliefs`` were fitted.

    Parameters
    ----------
    cuppings
        Look at these only, all others informing what is expected; needed beyond
        ``LOOKED_AT_ONCE`` ratings of an attribute.
    rare
        A rating is odd when fewer than this many so far off are expected among all looked at.

    Raises
    ------
    InputError
        When the table is not that of the beliefs, or too large to look at as a whole.
    """
    described = read_samples(
        samples,
        reference_age=beliefs.reference_age,
        features=features,
        extra_components=beliefs.components,
    )
    given = read_ratings(
        ratings, described.names, attributes=beliefs.attributes, scale=beliefs.priors.scale
    )
    if described.components != beliefs.components or given.tasters != beliefs.taster_names:
        raise InputError(
            "beliefs: they were fitted from another table (its components or tasters differ); "
            "fit this one first"
        )
    chosen = _chosen(given, cuppings)
    found = {
        a: _look(given, described, beliefs, i, chosen) for i, a in enumerate(beliefs.attributes)
    }
    odd = [o for i, a in enumerate(found) for o in _odd(given, described, i, found[a], rare)]
    return Review(
        odd=tuple(sorted(odd, key=lambda o: o.chance)),
        swapped=tuple(_swapped(given, described, list(found.values()))),
        left_out={a: _left_out(given, described, r) for a, r in found.items()},
        predictive={
            a: predictive_checks(given, r, part.doubt, beliefs.priors)
            for (a, r), part in zip(found.items(), beliefs.parts, strict=True)
        },
        conflicts=conflicts(beliefs),
    )


@dataclass(frozen=True, slots=True)
class VerdictChange:
    """A verdict on two samples that hangs on odd ratings."""

    first: str
    second: str
    attribute: str
    before: Verdict
    after: Verdict


def verdicts_without(
    ratings: Columns,
    samples: Columns,
    beliefs: Beliefs,
    odd: Sequence[OddRating],
    pairs: Sequence[tuple[str, str]],
    tolerance: float | Mapping[str, float],
    *,
    features: Columns | None = None,
) -> tuple[VerdictChange, ...]:
    """Verdicts on ``pairs`` of samples that change when the ``odd`` ratings are left out.

    Only the attributes concerned are fitted again.
    """
    reader = Reader(ratings, "ratings", ("rating",))
    left = {name: reader.column(name) for name in reader.names}
    values = reader.numbers("rating")
    values[[o.row - 1 for o in odd]] = np.nan
    concerned = tuple(dict.fromkeys(o.attribute for o in odd))
    if not concerned:
        return ()
    after = fit(
        {**left, "rating": values},
        samples,
        priors=beliefs.priors,
        attributes=concerned,
        reference_age=beliefs.reference_age,
        features=features,
        extra_components=beliefs.components,
        threshold=beliefs.threshold,
    )
    out = []
    for a, b in pairs:
        old, new = beliefs.compare(a, b, tolerance), after.compare(a, b, tolerance)
        out += [
            VerdictChange(a, b, attribute, old[attribute].verdict, new[attribute].verdict)
            for attribute in concerned
            if old[attribute].verdict != new[attribute].verdict
        ]
    return tuple(out)


def _chosen(given: Ratings, cuppings: Sequence[str] | None) -> NDArray[np.bool_]:
    if cuppings is None:
        return np.ones(len(given.cuppings), dtype=np.bool_)
    for name in cuppings:
        if name not in given.cuppings:
            raise InputError(f"cuppings: there is none {name!r}; {nearest(name, given.cuppings)}")
    return np.isin(given.cuppings, list(cuppings))


def _look(
    given: Ratings, described: Samples, beliefs: Beliefs, i: int, chosen: NDArray[np.bool_]
) -> Residuals:
    rows = np.flatnonzero(given.attribute == i)
    looked = np.flatnonzero(chosen[given.cupping[rows]])
    if len(looked) > LOOKED_AT_ONCE:
        raise InputError(
            f"cuppings: {len(looked)} ratings of {beliefs.attributes[i]!r} are more than the "
            f"{LOOKED_AT_ONCE} that can be looked at together; name some cuppings"
        )
    doubt = beliefs.parts[i].doubt
    return residuals_of(given, described, beliefs.layout, beliefs.priors, doubt, rows, looked)


def _odd(
    given: Ratings, described: Samples, i: int, found: Residuals, rare: float
) -> list[OddRating]:
    sd = np.diagonal(found.precision) ** -0.5
    error = found.pull * sd**2
    chance = 2 * ndtr(-np.abs(error) / sd)
    out = []
    for m in np.flatnonzero(chance * len(chance) < rare).tolist():
        row = int(found.rows[found.looked[m]])
        rating = float(given.rating[row])
        expected = rating - float(error[m])
        out.append(
            OddRating(
                row=int(given.row[row]),
                cupping=given.cuppings[given.cupping[row]],
                taster=given.tasters[given.taster[row]],
                sample=described.names[given.sample[row]],
                attribute=given.attributes[i],
                rating=rating,
                expected=expected,
                sd=float(sd[m]),
                chance=float(chance[m]),
                meant=_meant(rating, expected, float(sd[m])),
                moves=float(found.moves[m]),
            )
        )
    return out


def _meant(rating: float, expected: float, sd: float) -> float | None:
    """The likeliest slip that would bring the rating within two sds of what is expected."""
    slips = [rating / 10, 10 * rating, 10 - rating]
    fitting = [s for s in slips if 0 <= s <= 10 and abs(s - expected) < 2 * sd]
    return min(fitting, key=lambda s: abs(s - expected)) if fitting else None


def _left_out(given: Ratings, described: Samples, found: Residuals) -> tuple[LeftOutSample, ...]:
    rows = found.rows[found.looked]
    out = []
    for s in np.unique(given.sample[rows]).tolist():
        some = np.flatnonzero(given.sample[rows] == s)
        error, covariance = found.left_out(some)
        observed = float(given.rating[rows[some]].mean())
        sd = float(np.sqrt(covariance.sum())) / len(some)
        out.append(LeftOutSample(described.names[s], observed, observed - float(error.mean()), sd))
    return tuple(out)


def _swapped(given: Ratings, described: Samples, found: Sequence[Residuals]) -> list[SwappedCodes]:
    """Compare each taster's ratings of two samples with the same ratings exchanged.

    The densities given all other ratings, over all attributes together; equal cups and passes are
    exchanged with each other.
    """
    gain: dict[tuple[int, int, int, int], float] = {}
    for residuals in found:
        for key, value in _exchange(given, residuals).items():
            gain[key] = gain.get(key, 0.0) + value
    out = []
    for (cupping, taster, s, z), value in gain.items():
        chance = float(expit(value + logit(SWAP_PRIOR)))
        if chance > 0.5:
            out.append(
                SwappedCodes(
                    given.cuppings[cupping],
                    given.tasters[taster],
                    described.names[s],
                    described.names[z],
                    chance,
                )
            )
    return sorted(out, key=lambda o: -o.chance)


def _exchange(given: Ratings, found: Residuals) -> dict[tuple[int, int, int, int], float]:
    """Log density gained by exchanging, for each pair of samples of a taster in a cupping."""
    rows = found.rows[found.looked]
    by_table: dict[tuple[int, int, int], dict[int, int]] = {}
    for m, row in enumerate(rows.tolist()):
        key = (int(given.cupping[row]), int(given.taster[row]), int(given.pass_[row]))
        # A repeated cup has no partner to be exchanged with; the first cup stands for the sample.
        by_table.setdefault(key, {}).setdefault(int(given.sample[row]), m)
    gain: dict[tuple[int, int, int, int], float] = {}
    for (cupping, taster, _), members in by_table.items():
        inside = sorted(members.items())
        for i, (s, a) in enumerate(inside):
            for z, b in inside[i + 1 :]:
                pair = np.array([a, b])
                error, _ = found.left_out(pair)
                y = given.rating[rows[pair]]
                other = error + y[::-1] - y
                q = found.precision[np.ix_(pair, pair)]
                change = float(error @ q @ error - other @ q @ other) / 2
                who = (cupping, taster, s, z)
                gain[who] = gain.get(who, 0.0) + change
    return gain
