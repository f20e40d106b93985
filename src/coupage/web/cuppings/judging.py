"""What a table taught, asked of the panel once for the same beliefs and samples."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

from coupage.panel import Beliefs, JudgedSamples, judge_samples

__all__ = ["judge_table"]


def judge_table(
    beliefs: Beliefs,
    samples: Sequence[str],
    tolerances: Mapping[str, float],
    deciding: Sequence[str],
) -> JudgedSamples:
    """Judge the samples of one table, in the order given; those never rated are left out."""
    known = tuple(name for name in samples if name in beliefs.samples)
    return _judged(_Asked(beliefs), known, tuple(tolerances.items()), tuple(deciding))


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
) -> JudgedSamples:
    return judge_samples(asked_of.beliefs, samples, dict(asked), deciding)
