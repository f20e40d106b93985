"""One plan: its blends drawn and listed, what they tell, what a change by hand loses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.http import Http404
from django.utils.safestring import SafeString, mark_safe

from coupage.errors import InfeasibleError, InputError
from coupage.mixture import Seeing
from coupage.panel import Beliefs
from coupage.table import CUPPING_GRAMS_PER_ML, dose_grams, scoop_advice, scoop_error
from coupage.units import PPM, show_share
from coupage.web.blends.queries import newest_usable_batches
from coupage.web.common.charts import swatch
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.models import Attribute
from coupage.web.people import history
from coupage.web.people.models import Change
from coupage.web.people.queries import roastery
from coupage.web.trials import queries
from coupage.web.trials.design import Asked, Room, Shares
from coupage.web.trials.forms import PlanScreen
from coupage.web.trials.models import Plan, Trial
from coupage.web.trials.pages.listing import state_of
from coupage.web.trials.triangle import Dot, Triangle

__all__ = [
    "Cell",
    "Column",
    "PlanPage",
    "SeeingRow",
    "TrialRow",
    "asked_of",
    "blend_words",
    "picture_of",
    "plan_page",
    "room_of",
    "shares_of",
    "whole_plan",
]

BEAN_G = 0.13
_BOWL_ML = 200
_SEEN = 0.8
_MOST_TRIED = 10
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class Column:
    """A coffee of the plan."""

    name: str
    swatch: SafeString


@dataclass(frozen=True, slots=True)
class Cell:
    coffee: str
    share: str
    bar: SafeString


@dataclass(frozen=True, slots=True)
class TrialRow:
    """One sample: its proportions, what it is besides, what leaving it out would lose."""

    trial: Trial
    cells: tuple[Cell, ...]
    marks: tuple[tuple[str, str], ...]
    lost: str
    text: str
    broken: str


@dataclass(frozen=True, slots=True)
class SeeingRow:
    attribute: str
    often: str
    least: str
    sd: str


@dataclass(frozen=True, slots=True)
class PlanPage:
    plan: Plan
    state: str
    tone: str
    sentence: str
    note: str
    changed: str
    problem: str
    clashing: tuple[str, ...]
    picture: Triangle | None
    columns: tuple[Column, ...]
    rows: tuple[TrialRow, ...]
    seeing: tuple[SeeingRow, ...]
    seeing_sub: str
    more_cups: str
    scoop: str
    limits: tuple[str, ...]
    known: str
    screen: PlanScreen
    changes: tuple[Change, ...]
    can_change: bool
    by_hand: bool
    bean: float = BEAN_G


def whole_plan(pk: int) -> Plan:
    """Return one plan with everything about it, or 404."""
    plan = queries.whole_plans().filter(pk=pk).first()
    if plan is None:
        raise Http404("There is no such plan.")
    return plan


def asked_of(plan: Plan) -> Asked:
    return Asked(plan, tuple(plan.coffees.all()), tuple(plan.groups.all()))


def room_of(asked: Asked, beliefs: Beliefs | None) -> Room:
    """Return the plan's room, minding the intensities that are rated here, never liking."""
    names = Attribute.objects.filter(archived=False, kind="intensity")
    return Room(asked, beliefs, tuple(names.values_list("name", flat=True)))


def shares_of(plan: Plan, trial: Trial) -> Shares:
    """Return a trial's shares in the order of the plan's coffees."""
    own = {share.coffee_id: share.share_ppm for share in trial.shares.all()}
    return tuple(own.get(coffee.pk, 0) for coffee in plan.coffees.all())


def plan_page(pk: int, *, can_work: bool) -> PlanPage:
    """Work out one plan's page, or 404."""
    plan = whole_plan(pk)
    room = room_of(asked_of(plan), beliefs_now())
    trials = list(plan.trials.all())
    rows = [shares_of(plan, trial) for trial in trials]
    problem, clashing = "", tuple[str, ...]()
    try:
        _ = room.region
    except InfeasibleError as error:
        problem, clashing = "No blend obeys these limits any more.", error.clashing
    except InputError as error:
        problem = f"{error}."
    state, tone = state_of(plan)
    fine = not problem and len(rows) > 1
    seen = room.seeing(rows, float(roastery().verdict_chance)) if fine else {}
    before = queries.cupped_already(room.asked.approaches)
    return PlanPage(
        plan=plan,
        state=state,
        tone=tone,
        sentence=_sentence(plan, rows, _reference(room)),
        note=_power(seen),
        changed=_changed(room, rows) if fine else "",
        problem=problem,
        clashing=clashing,
        picture=picture_of(room, rows, trials, before) if not problem else None,
        columns=tuple(Column(name, swatch(i)) for i, name in enumerate(room.asked.names, 1)),
        rows=_rows(room, rows, trials, judged=fine),
        seeing=_seeing_rows(seen),
        seeing_sub=(
            "How often this table by itself shows a difference of "
            f"{float(plan.difference):g} between two of its blends: on average, and for "
            "the two hardest to tell. Doubt: the sd of such a "
            "difference in points afterwards."
        ),
        more_cups=_more_cups(room, rows, seen) if fine else "",
        scoop=_scoop(rows),
        limits=tuple(room.region.limits()) if not problem else (),
        known=_known(room, len(before)),
        screen=_screen(plan),
        changes=tuple(history.of(plan)[:20]),
        can_change=can_work and state == "not sent yet",
        by_hand=_by_hand(plan, rows),
    )


def _screen(plan: Plan) -> PlanScreen:
    offered = PlanScreen.offered(plan)
    return PlanScreen(plan=plan, offered=offered, batches=newest_usable_batches(offered))


def _reference(room: Room) -> Shares | None:
    try:
        return room.reference
    except InputError:  # the recipe was changed since, and holds another coffee now
        return None


# --- sentences -----------------------------------------------------------------------------------


def _sentence(plan: Plan, rows: Sequence[Shares], reference: Shares | None) -> str:
    blends, samples = len(set(rows)), len(rows)
    said = f"Cup these {samples} samples: {_count(blends)} different blends"
    again = samples - blends
    if again:
        repeats = "one hidden repeat" if again == 1 else f"{_count(again)} hidden repeats"
        said += f" and {repeats}"
    if reference in rows:
        said += f", with {plan.reference} as the reference"
    return said + "."


def _count(n: int) -> str:
    return _COUNTS[n] if n < len(_COUNTS) else str(n)


def _power(seen: dict[str, Seeing]) -> str:
    if not seen:
        return ""
    hardest = min(seen, key=lambda name: seen[name].chance)
    said = seen[hardest].words(hardest)
    if len(seen) > 1:
        said = said.removesuffix(".") + f"; {hardest} is the hardest to tell here."
    return said


def _by_hand(plan: Plan, rows: Sequence[Shares]) -> bool:
    return sorted(rows) != sorted(tuple(row) for row in plan.chosen)


def _changed(room: Room, rows: Sequence[Shares]) -> str:
    """Say what changes by hand lost or gained against the blends as they were chosen."""
    chosen = [tuple(row) for row in room.asked.plan.chosen]
    if not chosen or not _by_hand(room.asked.plan, rows):
        return ""
    told = room.told(rows, chosen)
    if told > 1.005:
        return f"Changed by hand: it tells {100 * (told - 1):.0f} % more than the blends as chosen."
    if told > 0.995:
        return "Changed by hand: nothing worth naming is lost against the blends as chosen."
    lost = f"{100 * (1 - told):.0f} %"
    return f"Changed by hand: {lost} of what the blends as chosen would tell is lost."


def _more_cups(room: Room, rows: Sequence[Shares], seen: dict[str, Seeing]) -> str:
    """Say how many more cups or tasters would show the difference 8 times in 10."""
    if not seen:
        return ""
    hardest = min(seen, key=lambda name: seen[name].chance)
    if seen[hardest].chance >= _SEEN:
        return ""
    plan, ways = room.asked.plan, []
    for cups in range(plan.cups + 1, _MOST_TRIED + 1):
        if room.see(rows, hardest, seen[hardest].sure, cups=cups).chance >= _SEEN:
            ways.append(f"{cups} cups of each sample")
            break
    for tasters in range(plan.tasters + 1, 2 * _MOST_TRIED + 1):
        if room.see(rows, hardest, seen[hardest].sure, tasters=tasters).chance >= _SEEN:
            ways.append(f"{tasters} tasters")
            break
    if not ways:
        return (
            f"To see it in {hardest} 8 times in 10, more cups or tasters are not enough: one roast "
            "differs from the next by too much. Taste these blends from another day's batches too."
        )
    return f"To see it in {hardest} 8 times in 10 takes {' or '.join(ways)}."


def _scoop(rows: Sequence[Shares]) -> str:
    blends = [np.array(row) / PPM for row in rows if max(row) < PPM]
    if not blends:
        return ""
    dose = round(dose_grams(_BOWL_ML, grams_per_ml=CUPPING_GRAMS_PER_ML), 2)
    worst = max(blends, key=lambda x: float(scoop_error(x, BEAN_G, dose).max()))
    return scoop_advice(worst, BEAN_G, dose)


def _known(room: Room, count: int) -> str:
    if room.beliefs is None:
        return "Nothing was cupped yet: the sds are those that the model of the panel starts from."
    if room.known is None:
        return (
            "Some of these coffees are unknown to the panel: the sds are those that its model "
            "starts from."
        )
    if not room.asked.plan.keep:
        return (
            "Planned as if nothing of these coffees had been cupped; the sds are the panel's own."
        )
    said = "1 blend" if count == 1 else f"{count} blends"
    return (
        f"{said} of these coffees alone were cupped already; what every revealed table taught "
        "counts. The sds are the panel's own."
    )


# --- the picture and the list --------------------------------------------------------------------


def picture_of(
    room: Room, rows: Sequence[Shares], trials: Sequence[Trial], before: Sequence[Shares]
) -> Triangle | None:
    if len(room.asked.coffees) != 3:
        return None
    numbers: dict[Shares, list[int]] = {}
    for row, trial in zip(rows, trials, strict=True):
        numbers.setdefault(row, []).append(trial.number)
    reference = _reference(room)
    a, b, c = room.asked.names
    return Triangle(
        (a, b, c),
        room.region,
        [
            Dot(_three(row), tuple(ns), f"#trial-{ns[0]}", row == reference)
            for row, ns in numbers.items()
        ],
        [_three(row) for row in before],
    )


def _three(row: Shares) -> tuple[float, float, float]:
    a, b, c = row
    return a / PPM, b / PPM, c / PPM


def _rows(
    room: Room, rows: Sequence[Shares], trials: Sequence[Trial], *, judged: bool
) -> tuple[TrialRow, ...]:
    found = []
    reference, chosen = _reference(room), {tuple(row) for row in room.asked.plan.chosen}
    for i, (row, trial) in enumerate(zip(rows, trials, strict=True)):
        others = [*rows[:i], *rows[i + 1 :]]
        first = next((t.number for r, t in zip(rows[:i], trials, strict=False) if r == row), None)
        marks = [("reference", "action")] if row == reference and first is None else []
        marks += [(f"again sample {first}", "quiet")] if first is not None else []
        marks += [("by hand", "attention")] if row not in chosen else []
        lost = max(0.0, 1 - room.told(others, rows)) if judged and len(others) > 1 else None
        broken = "" if not judged else "; ".join(room.broken(row))
        found.append(
            TrialRow(
                trial,
                tuple(
                    Cell(name, show_share(share) if share else "–", _bar(share, slot))
                    for slot, (name, share) in enumerate(zip(room.asked.names, row, strict=True), 1)
                ),
                tuple(marks),
                "–" if lost is None else f"{100 * lost:.0f} %",
                blend_words(room.asked.names, row),
                broken,
            )
        )
    return tuple(found)


def blend_words(names: Sequence[str], row: Shares) -> str:
    """Say a blend: ``55 % Guji, filter and 45 % Huye, filter``."""
    said = [f"{show_share(s)} {n}" for n, s in zip(names, row, strict=True) if s]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"


def _bar(share: int, slot: int) -> SafeString:
    if not share:
        return mark_safe("")
    box = f'x="0" y="0" width="{100 * share / PPM:g}%" height="8"'
    number = (slot - 1) % 8 + 1
    return mark_safe(  # noqa: S308  figures only
        f'<svg class="share-bar" width="100%" height="8" aria-hidden="true">'
        f'<rect class="component-{number}" {box}/>'
        f'<rect class="component-edge" fill="url(#pattern-{number})" {box}/></svg>'
    )


def _seeing_rows(seen: dict[str, Seeing]) -> tuple[SeeingRow, ...]:
    return tuple(
        SeeingRow(
            attribute,
            f"{100 * seeing.chance:.0f} %",
            f"{100 * seeing.least:.0f} %",
            f"{seeing.sd:.2f}",
        )
        for attribute, seeing in sorted(seen.items(), key=lambda item: item[1].chance)
    )
