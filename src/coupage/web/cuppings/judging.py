"""What a table taught: profiles of its samples and which pairs of them are the same.

The computing room answers one pair at a time, and each answer solves for its own line. A page
shows all pairs, so the lines of one table are asked for together here, once per attribute.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from scipy import sparse

from coupage.panel import Belief, Beliefs, Comparison, JointComparison
from coupage.panel.answers import beliefs_of, compare_line, joint_of

__all__ = ["Judged", "PairJudged", "judge_samples"]


@dataclass(frozen=True, slots=True)
class PairJudged:
    """Two samples held against each other; the difference is ``a - b``.

    ``joint`` speaks of the ``deciding`` attributes together; None where there are none.
    """

    a: str
    b: str
    by_attribute: Mapping[str, Comparison]
    deciding: tuple[str, ...]
    joint: JointComparison | None


@dataclass(frozen=True, slots=True)
class Judged:
    """Profiles by sample and attribute, and every pair of samples once."""

    profiles: Mapping[str, Mapping[str, Belief]]
    pairs: Mapping[tuple[str, str], PairJudged]

    def pair(self, a: str, b: str) -> PairJudged:
        """Return a pair in the order in which it is known."""
        return self.pairs[(a, b) if (a, b) in self.pairs else (b, a)]


def judge_samples(
    beliefs: Beliefs,
    samples: Sequence[str],
    tolerances: Mapping[str, float],
    deciding: Sequence[str],
) -> Judged:
    """Judge the samples of one table, in the order given.

    Parameters
    ----------
    beliefs
        What is believed now.
    samples
        Names as beliefs know them; those that were never rated are left out.
    tolerances
        By attribute; only these attributes are answered.
    deciding
        The attributes that count towards the joint verdict, intensities that is.
    """
    asked = tuple((a, tolerances[a]) for a in beliefs.attributes if a in tolerances)
    known = tuple(name for name in samples if name in beliefs.samples)
    return _judged(_Asked(beliefs), known, asked, tuple(a for a in deciding if a in dict(asked)))


class _Asked:
    """Beliefs that compare equal when their fingerprints do, so that a cache can hold them."""

    def __init__(self, beliefs: Beliefs) -> None:
        self.beliefs = beliefs

    def __hash__(self) -> int:
        return hash((self.beliefs.fingerprint, self.beliefs.threshold))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and (
            (self.beliefs.fingerprint, self.beliefs.threshold)
            == (other.beliefs.fingerprint, other.beliefs.threshold)
        )


@lru_cache(maxsize=32)
def _judged(
    asked_of: _Asked,
    samples: tuple[str, ...],
    asked: tuple[tuple[str, float], ...],
    deciding: tuple[str, ...],
) -> Judged:
    beliefs = asked_of.beliefs
    if not samples:
        return Judged({}, {})
    rows = [beliefs.samples.index(name) for name in samples]
    own = sparse.csr_array(beliefs.sample_features[rows])
    index = list(combinations(range(len(samples)), 2))
    features = sparse.csr_array(sparse.vstack([own, _differences(own, index)]))
    # Every pair of coffees within a rated sample is among the coefficients: nothing is unseen.
    unseen = np.zeros(features.shape[0])
    profiles: dict[str, dict[str, Belief]] = {name: {} for name in samples}
    compared: list[dict[str, Comparison]] = [{} for _ in index]
    for attribute, tolerance in asked:
        part = beliefs.parts[beliefs.attributes.index(attribute)]
        line = part.line(features, unseen)
        for name, belief in zip(samples, beliefs_of(line), strict=False):
            profiles[name][attribute] = belief
        if not index:
            continue
        pairs = type(line)(line.weights, line.means[len(samples) :], line.sds[len(samples) :])
        cup = 2 * (part.doubt.mean_square("noise") + beliefs.priors.floor)
        cup += 2 * part.doubt.mean_square("disagreement")
        limits = np.full(len(index), tolerance)
        found = compare_line(pairs, limits, beliefs.threshold, float(np.sqrt(cup)))
        for answers, comparison in zip(compared, found, strict=True):
            answers[attribute] = comparison
    pairs_judged = {
        (samples[i], samples[j]): PairJudged(
            samples[i],
            samples[j],
            answers,
            deciding,
            joint_of({a: answers[a] for a in deciding}, beliefs.threshold) if deciding else None,
        )
        for (i, j), answers in zip(index, compared, strict=True)
    }
    return Judged(profiles, pairs_judged)


def _differences(own: sparse.csr_array, index: Sequence[tuple[int, int]]) -> sparse.csr_array:
    if not index:
        return sparse.csr_array((0, own.shape[1]))
    a, b = (list(side) for side in zip(*index, strict=True))
    return sparse.csr_array(own[a] - own[b])
