"""The verdict that the measured numbers, and whatever else is known of a batch, speak for.

Nothing here decides: a person gives the verdict, and says why where it differs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from coupage.web.batches.models import Batch, Verdict

__all__ = ["HOLD_FROM", "Proposal", "Reason", "Source", "add_source", "propose"]

# Our own rule: off by up to twice the tolerance is looked at, further off is held.
HOLD_FROM = 2.0

_SEVERITY = (Verdict.RELEASE, Verdict.LOOK_AGAIN, Verdict.HOLD)


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that speaks for a verdict; ``says`` is a whole sentence without a full stop.

    ``verdict`` is empty where something is told that speaks for none, such as "not tasted yet".
    """

    about: str
    says: str
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """The most cautious of what the reasons speak for; empty where none speaks."""

    verdict: str
    reasons: tuple[Reason, ...]

    @property
    def speaking(self) -> tuple[Reason, ...]:
        """The reasons that led to it."""
        return tuple(r for r in self.reasons if r.verdict and r.verdict == self.verdict)


Source = Callable[[Batch], Iterable[Reason]]
_sources: list[Source] = []


def add_source(source: Source) -> Source:
    """Let an app above speak about batches too; called once, when the program starts."""
    if source not in _sources:
        _sources.append(source)
    return source


def propose(batch: Batch, measured: Sequence[Reason]) -> Proposal:
    """Return what the measured numbers and all other sources propose."""
    reasons = [*measured, *(reason for source in _sources for reason in source(batch))]
    voiced = [_SEVERITY.index(Verdict(r.verdict)) for r in reasons if r.verdict]
    return Proposal(_SEVERITY[max(voiced)] if voiced else "", tuple(reasons))
