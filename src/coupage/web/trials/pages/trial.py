"""One blend of a plan, changed by hand: what that loses, before it is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import Http404

from coupage.units import show_share
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.trials.design import Room, Shares
from coupage.web.trials.models import Plan, Trial
from coupage.web.trials.pages.plan import asked_of, blend_words, room_of, shares_of, whole_plan

__all__ = ["Bench", "bench_of"]


@dataclass(frozen=True, slots=True)
class Bench:
    """A plan opened at one of its blends, or at one to be added."""

    plan: Plan
    room: Room
    trial: Trial | None
    rows: tuple[Shares, ...]
    own: Shares | None

    @property
    def title(self) -> str:
        return "" if self.trial is None else f"Sample {self.trial.number}"

    @property
    def words(self) -> str:
        return "" if self.own is None else blend_words(self.room.asked.names, self.own)

    def problems(self, shares: Shares) -> list[str]:
        """Say why a blend cannot be cupped in this plan; nothing when it can.

        Raises
        ------
        InfeasibleError, InputError
            When the limits themselves clash by now.
        """
        step = self.plan.step_ppm
        coarse = [share for share in shares if share % step]
        said = []
        if coarse:
            said.append(
                f"{show_share(coarse[0])} is not a multiple of the plan's step of "
                f"{show_share(step)}; take one, or ask the plan with a finer step."
            )
        broken = self.room.broken(shares)
        if broken:
            said.append(f"It breaks a limit of the plan: {'; '.join(broken)}.")
        return said

    def others(self) -> list[Shares]:
        """Return the other blends of the plan."""
        number = None if self.trial is None else self.trial.number
        trials = self.plan.trials.all()
        return [row for row, t in zip(self.rows, trials, strict=True) if t.number != number]

    def what_is_lost(self, shares: Shares) -> str:
        """Say what the plan would tell with this blend, against what it tells now."""
        told = self.room.told([*self.others(), shares], self.rows)
        if told > 1.005:
            return f"With this blend the plan tells {100 * (told - 1):.0f} % more than now."
        if told < 0.995:
            return f"With this blend {100 * (1 - told):.0f} % of what the plan tells now is lost."
        return "With this blend the plan tells as much as now."

    def shown(self) -> Sequence[str]:
        """Return the plan's blends in words, as they are saved."""
        return [
            f"sample {trial.number}: {blend_words(self.room.asked.names, row)}"
            for trial, row in zip(self.plan.trials.all(), self.rows, strict=True)
        ]


def bench_of(pk: int, number: int | None) -> Bench:
    """Open a plan at one of its blends (none: at one to be added), or 404."""
    plan = whole_plan(pk)
    trials = list(plan.trials.all())
    trial = next((t for t in trials if t.number == number), None)
    if number is not None and trial is None:
        raise Http404("There is no such sample in this plan.")
    return Bench(
        plan=plan,
        room=room_of(asked_of(plan), beliefs_now()),
        trial=trial,
        rows=tuple(shares_of(plan, t) for t in trials),
        own=None if trial is None else shares_of(plan, trial),
    )
