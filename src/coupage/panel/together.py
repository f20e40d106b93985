"""Many samples at once: profiles of all of them and every pair of them, one solve an attribute.

`Beliefs.compare` answers for one pair and solves for its own line. A table of q samples has
q (q - 1) / 2 pairs; their lines are asked for together here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import sparse

from coupage.errors import InputError
from coupage.panel.answers import (
    Belief,
    Comparison,
    JointComparison,
    beliefs_of,
    compare_line,
    joint_of,
)
from coupage.panel.beliefs import Beliefs
from coupage.panel.parts import Part
from coupage.panel.reading import nearest

__all__ = ["JudgedPair", "JudgedSamples", "judge_samples"]


@dataclass(frozen=True, slots=True)
class JudgedPair:
    """Two samples held against each other; the difference is ``a - b``.

    ``joint`` speaks of the ``deciding`` attributes together; None where there are none.
    """

    a: str
    b: str
    by_attribute: Mapping[str, Comparison]
    deciding: tuple[str, ...]
    joint: JointComparison | None


@dataclass(frozen=True, slots=True)
class JudgedSamples:
    """Profiles by sample and attribute, and every pair of samples once."""

    profiles: Mapping[str, Mapping[str, Belief]]
    pairs: Mapping[tuple[str, str], JudgedPair]

    def pair(self, a: str, b: str) -> JudgedPair:
        """Return a pair in the order in which it is known."""
        return self.pairs[(a, b) if (a, b) in self.pairs else (b, a)]


def judge_samples(
    beliefs: Beliefs,
    samples: Sequence[str],
    tolerances: Mapping[str, float],
    deciding: Sequence[str] | None = None,
) -> JudgedSamples:
    """Judge samples as `Beliefs.compare` and `Beliefs.joint` judge each pair of them.

    Parameters
    ----------
    beliefs
        What is believed.
    samples
        Names as beliefs know them, in the order in which pairs are formed.
    tolerances
        Points by attribute; only these attributes are answered.
    deciding
        Attributes that count towards the joint verdict; all of `tolerances` when left out.

    Raises
    ------
    InputError
        When a sample was never rated or a tolerance is not above 0.
    """
    for name in samples:
        if name not in beliefs.samples:
            raise InputError(
                f"samples: there is no sample {name!r}; {nearest(name, beliefs.samples)}"
            )
    for attribute, limit in tolerances.items():
        if not (limit > 0 and np.isfinite(limit)):
            raise InputError(f"tolerances: {limit!r} for {attribute!r} must be a number above 0")
    asked = {a: float(tolerances[a]) for a in beliefs.attributes if a in tolerances}
    counting = tuple(a for a in (asked if deciding is None else deciding) if a in asked)
    if not samples:
        return JudgedSamples({}, {})
    index = list(combinations(range(len(samples)), 2))
    features = _features(beliefs, samples, index)
    profiles: dict[str, dict[str, Belief]] = {name: {} for name in samples}
    compared: list[dict[str, Comparison]] = [{} for _ in index]
    for attribute, tolerance in asked.items():
        part = beliefs.parts[beliefs.attributes.index(attribute)]
        own, found = _answers(beliefs, part, features, len(samples), tolerance)
        for name, belief in zip(samples, own, strict=True):
            profiles[name][attribute] = belief
        for answers, comparison in zip(compared, found, strict=True):
            answers[attribute] = comparison
    pairs = {}
    for (i, j), answers in zip(index, compared, strict=True):
        together = {a: answers[a] for a in counting}
        joint = joint_of(together, beliefs.threshold) if together else None
        pairs[samples[i], samples[j]] = JudgedPair(samples[i], samples[j], answers, counting, joint)
    return JudgedSamples(profiles, pairs)


def _answers(
    beliefs: Beliefs, part: Part, features: sparse.csr_array, samples: int, tolerance: float
) -> tuple[list[Belief], list[Comparison]]:
    """One solve: beliefs of the samples, which come first, and comparisons of the pairs."""
    # Every pair of coffees within a rated sample is among the coefficients: nothing is unseen.
    line = part.line(features, np.zeros(features.shape[0]))
    kind = type(line)
    own = kind(line.weights, line.means[:samples], line.sds[:samples])
    pairs = kind(line.weights, line.means[samples:], line.sds[samples:])
    count = features.shape[0] - samples
    if not count:
        return beliefs_of(own), []
    cup = 2 * (part.doubt.mean_square("noise") + beliefs.priors.floor)
    cup += 2 * part.doubt.mean_square("disagreement")
    limits = np.full(count, tolerance)
    return beliefs_of(own), compare_line(pairs, limits, beliefs.threshold, float(np.sqrt(cup)))


def _features(
    beliefs: Beliefs, samples: Sequence[str], index: Sequence[tuple[int, int]]
) -> sparse.csr_array:
    """Rows of the samples, then of the differences of their pairs."""
    place = {name: row for row, name in enumerate(beliefs.samples)}
    own = sparse.csr_array(beliefs.sample_features[[place[name] for name in samples]])
    if not index:
        return own
    a, b = (list(side) for side in zip(*index, strict=True))
    return sparse.csr_array(sparse.vstack([own, sparse.csr_array(own[a] - own[b])]))
