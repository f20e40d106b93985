"""All that the pages of one run show: what to weigh, what came of it, what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import Http404
from django.urls import reverse

from coupage.table import mixing_check
from coupage.units import PPM, MassUnit, show_mass, show_share
from coupage.web.batches.models import Verdict
from coupage.web.coffees.models import Approach
from coupage.web.common.charts import Composition, Part
from coupage.web.common.dates import day_text
from coupage.web.orders.models import Order, OrderLine
from coupage.web.people import history
from coupage.web.people.models import Change
from coupage.web.production import queries
from coupage.web.production.models import (
    BlendedEntry,
    MixingCheck,
    Packed,
    PackingRules,
    Run,
    RunPart,
)

__all__ = [
    "Achieved",
    "LiftRow",
    "Mixed",
    "RunPage",
    "balance",
    "lift_rows",
    "load_run",
    "run_page",
]

STEPS = ("Weigh", "Mix", "Pack", "Close")


@dataclass(frozen=True, slots=True)
class Weight:
    part: RunPart
    coffee: str
    source: str
    planned_g: int
    weighed_g: int


@dataclass(frozen=True, slots=True)
class LiftRow:
    """One filling of the blender: what is planned, and what was weighed."""

    number: int
    weights: tuple[Weight, ...]
    done: bool

    @property
    def planned_g(self) -> int:
        return sum(w.planned_g for w in self.weights)

    @property
    def weighed_g(self) -> int:
        return sum(w.weighed_g for w in self.weights)


@dataclass(frozen=True, slots=True)
class Achieved:
    """The share of one coffee as weighed, beside the recipe."""

    coffee: str
    wanted: str
    got: str
    off: str
    within: bool


@dataclass(frozen=True, slots=True)
class Mixed:
    check: MixingCheck
    verdict: str
    sentence: str


@dataclass(frozen=True, slots=True)
class RunPage:
    run: queries.StockedRun
    sentence: str
    note: str
    step: int
    lifts: tuple[LiftRow, ...]
    next_lift: LiftRow | None
    achieved: tuple[Achieved, ...]
    off: tuple[Achieved, ...]
    picture: Composition | None
    mixed: tuple[Mixed, ...]
    packed: tuple[queries.StockedPacked, ...]
    wanted: tuple[tuple[str, int], ...]
    balance: tuple[tuple[str, str], ...]
    held_batches: tuple[str, ...]
    facts: tuple[tuple[str, str] | tuple[str, str, str], ...]
    changes: tuple[Change, ...]
    rules: PackingRules
    steps: tuple[str, ...] = STEPS


def load_run(pk: int) -> queries.StockedRun:
    """Return one run with its sums, or 404."""
    run = queries.runs().filter(pk=pk).first()
    if run is None:
        raise Http404("There is no such run.")
    return run


def run_page(pk: int, unit: MassUnit) -> RunPage:
    """Return one run's page, or 404."""
    run, rules = load_run(pk), queries.rules()
    parts = list(queries.parts().filter(run=run).order_by("place"))
    lifts = lift_rows(run, parts)
    achieved = _achieved(run, rules.tolerance_ppm)
    waiting = next((lift for lift in lifts if not lift.done), None)
    rows = tuple(queries.packed().filter(run=run).order_by("pack__bag_g"))
    mixed = tuple(
        _mixed(check) for check in run.mixing_checks.select_related("approach__lot", "by")
    )
    return RunPage(
        run=run,
        sentence=_sentence(run, lifts, waiting, unit),
        note=_note(run),
        step=_step(run, waiting, mixed, rows),
        lifts=lifts,
        next_lift=waiting if run.state == Run.State.OPEN else None,
        achieved=achieved,
        off=tuple(a for a in achieved if not a.within),
        picture=_picture(run),
        mixed=mixed,
        packed=rows,
        wanted=_wanted(run),
        balance=balance(run, unit),
        held_batches=tuple(
            str(part.batch)
            for part in parts
            if part.batch is not None and part.weighed_g and part.batch.verdict == Verdict.HOLD
        ),
        facts=_facts(run, parts),
        changes=tuple(history.of(run)[:30]),
        rules=rules,
    )


def lift_rows(run: Run, parts: Sequence[RunPart]) -> tuple[LiftRow, ...]:
    """Return the lifts of a run with planned and weighed grams."""
    weighed: dict[tuple[int, int], int] = {}
    lines = BlendedEntry.objects.filter(run=run, lift__isnull=False)
    for part_id, lift, grams in lines.values_list("part_id", "lift", "mass_g"):
        key = (part_id or 0, lift or 0)
        weighed[key] = weighed.get(key, 0) + grams
    rows = []
    for number in range(1, run.lifts + 1):
        weights = []
        for part in parts:
            planned = part.per_lift_g[number - 1] if number <= len(part.per_lift_g) else 0
            got = weighed.get((part.pk, number), 0)
            if planned or got:
                coffee = str(part.approach or "left of the run before")
                weights.append(Weight(part, coffee, _source(part), planned, got))
        rows.append(LiftRow(number, tuple(weights), any(w.weighed_g for w in weights)))
    return tuple(rows)


def _source(part: RunPart) -> str:
    return part.batch.number if part.batch else (part.source.lot_code if part.source else "")


def _achieved(run: Run, tolerance_ppm: int) -> tuple[Achieved, ...]:
    made = queries.composition(run)
    whole = sum(made.values())
    if not whole:
        return ()
    shares = {s.approach_id: s for s in run.recipe.shares.select_related("approach__lot")}
    others = {pk for pk in made if pk not in shares}
    rows = [
        _achieved_row(str(s.approach), s.share_ppm, made.get(pk, 0) / whole, tolerance_ppm)
        for pk, s in shares.items()
    ]
    strange = Approach.objects.filter(pk__in=others).select_related("lot") if others else ()
    rows += [_achieved_row(str(a), 0, made[a.pk] / whole, tolerance_ppm) for a in strange]
    return tuple(rows)


def _achieved_row(coffee: str, wanted_ppm: int, got: float, tolerance_ppm: int) -> Achieved:
    off = got - wanted_ppm / PPM
    return Achieved(
        coffee=coffee,
        wanted=show_share(wanted_ppm),
        got=f"{100 * got:.2f} %",
        off=f"{100 * off:+.2f} points".replace("-", "−"),
        within=abs(off) * PPM <= tolerance_ppm + 1e-6,
    )


def _picture(run: Run) -> Composition | None:
    made = queries.composition(run)
    whole = sum(made.values())
    if not whole:
        return None
    names = {a.pk: str(a) for a in Approach.objects.filter(pk__in=made).select_related("lot")}
    return Composition(
        tuple(
            Part(names[pk], grams / whole, slot % 8 + 1)
            for slot, (pk, grams) in enumerate(sorted(made.items(), key=lambda i: -i[1]))
        ),
        label="As weighed",
    )


def _mixed(check: MixingCheck) -> Mixed:
    shares = list(check.run.recipe.shares.order_by("-share_ppm", "id"))
    place = next((i for i, s in enumerate(shares) if s.approach_id == check.approach_id), 0)
    found = mixing_check(
        [ppm / PPM for ppm in check.shares_ppm],
        [s.share_ppm / PPM for s in shares],
        check.bean_mg / 1000,
        check.sample_g,
        component=place,
    )
    spread = (
        f"{check.approach}: {found.samples} samples spread by {100 * found.spread:.1f} points, a "
        f"perfectly mixed lot by {100 * found.expected:.1f}"
    )
    if found.mixed:
        said = (
            f"{spread}. No sign that it is unmixed; so many samples find a spread of "
            f"{100 * found.detectable:.1f} points in 4 of 5 cases."
        )
    else:
        said = f"{spread}: chance does this in {100 * found.chance:.1f} % of cases. Mix longer."
    return Mixed(check, "release" if found.mixed else "look again", said)


def _step(run: Run, waiting: LiftRow | None, mixed: Sequence[Mixed], rows: Sequence[Packed]) -> int:
    if run.state != Run.State.OPEN:
        return len(STEPS) + 1
    if waiting is not None:
        return 1
    if not rows:
        return 3 if mixed else 2
    return 4 if getattr(run, "loose_g", 0) == 0 else 3


def _sentence(
    run: queries.StockedRun, lifts: Sequence[LiftRow], waiting: LiftRow | None, unit: MassUnit
) -> str:
    if run.state == Run.State.VOID:
        return f"{run} is void: it counts nowhere."
    if run.held:
        return f"{run} is on hold: nothing of it may be sent or blended."
    planned = show_mass(sum(lift.planned_g for lift in lifts), unit)
    if run.state == Run.State.OPEN and waiting is not None:
        if run.in_g == 0:
            return f"Nothing of {planned} is weighed yet. Lift {waiting.number} is next."
        weighed = show_mass(run.in_g, unit)
        return f"{weighed} of {planned} are weighed. Lift {waiting.number} is next."
    loose = show_mass(run.loose_g, unit, 3)
    if run.state == Run.State.OPEN:
        return f"All lifts are weighed; {loose} stand loose in the bin."
    bags = show_mass(run.packed_g, unit)
    return f"{show_mass(run.in_g, unit)} went in, {bags} are in bags, {loose} are left over."


def _note(run: Run) -> str:
    verbs = ("put on hold", "voided") if run.held or run.state == Run.State.VOID else ()
    newest = history.of(run).filter(verb__in=verbs).first() if verbs else None
    return f"{newest.by}: {newest.note}" if newest else ""


def balance(run: queries.StockedRun, unit: MassUnit) -> tuple[tuple[str, str], ...]:
    """Return where the kilograms of a run are; the lines add up to what was weighed in."""

    def kg(grams: int) -> str:
        return show_mass(grams, unit, 3).replace("-", "−")

    missing = -run.counted_g
    word = "Too much at closing" if missing < 0 else "Missing at closing"
    return (
        ("Weighed in", kg(run.in_g)),
        ("In bags", kg(run.packed_g)),
        ("Used in a later run", kg(run.reused_g)),
        ("Lost", kg(run.lost_g)),
        (word, kg(abs(missing))),
        ("Loose in the bin", kg(run.loose_g)),
    )


def _wanted(run: Run) -> tuple[tuple[str, int], ...]:
    """Return bags by size that open orders want of the blend."""
    found: dict[int, int] = {}
    lines = OrderLine.objects.filter(
        blend=run.recipe.blend_id, order__state=Order.State.OPEN
    ).values_list("bag_g", "bags")
    for bag_g, bags in lines:
        found[bag_g] = found.get(bag_g, 0) + bags
    return tuple(
        (f"{bag_g / 1000:g} kg" if bag_g >= 1000 else f"{bag_g} g", bags)
        for bag_g, bags in sorted(found.items())
    )


def _facts(
    run: Run, parts: Sequence[RunPart]
) -> tuple[tuple[str, str] | tuple[str, str, str], ...]:
    rests = [part.source for part in parts if part.source is not None]
    facts: list[tuple[str, str] | tuple[str, str, str]] = [
        ("Recipe", str(run.recipe), reverse("blends:recipe", args=[run.recipe_id])),
        ("Day", day_text(run.on)),
        ("Best before", day_text(run.best_before)),
        ("Lifts", str(run.lifts)),
        ("Step of the scale", f"{run.step_g} g"),
        ("Begun by", str(run.made_by or "–")),
    ]
    facts += [
        ("Holds what was left of", rest.lot_code, reverse("production:run", args=[rest.pk]))
        for rest in rests
    ]
    if run.note:
        facts.append(("Note", run.note))
    return tuple(facts)
