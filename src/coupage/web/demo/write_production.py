"""Runs, bags and dispatches of the demo as rows of the database.

Planned by the same arithmetic as everybody's runs and written in bulk, so that the database's
triggers look at every line of every ledger. Batches of the last week are left for whoever plans.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from django.utils import timezone

from coupage.web.batches.models import Batch, RoastedEntry, Verdict
from coupage.web.blends.models import Recipe
from coupage.web.demo.scenario_production import PACKS, RUNS, RunPlan
from coupage.web.demo.write_tables import TableWriter
from coupage.web.orders.models import Customer
from coupage.web.production.lifts import plan_lifts
from coupage.web.production.lot_code import DEFAULT_PATTERN, lot_code
from coupage.web.production.models import (
    BagEntry,
    BlendedEntry,
    Dispatch,
    DispatchLine,
    MixingCheck,
    Pack,
    Packed,
    PackingRules,
    Run,
    RunPart,
)

__all__ = ["write_production"]

_BLENDER_G, _STEP_G, _KEPT_DAYS = 10_000, 10, 8
_KEEPS = dt.timedelta(days=365)


def write_production(writer: TableWriter) -> None:
    """Write sizes, runs, bags and dispatches."""
    _ProductionWriter(writer).write()


@dataclass
class _Made:
    """A run and its rows, before and after they have numbers."""

    plan: RunPlan
    run: Run
    parts: list[RunPart]
    past: Batch
    rest_of: _Made | None = None
    loose_g: int = 0
    packed: dict[int, Packed] = field(default_factory=dict)


class _ProductionWriter:
    def __init__(self, writer: TableWriter) -> None:
        self.w = writer
        self.by = writer.person["lotte"]
        batches = Batch.objects.select_related("approach_version").order_by("roasted_at", "id")
        usable = [b for b in batches if b.verdict == Verdict.RELEASE and b.roasted_g]
        last = writer.day(_KEPT_DAYS)
        self.left = {
            b: b.roasted_g or 0
            for b in usable
            if timezone.localtime(b.roasted_at, writer.zone).date() <= last
        }
        names = {plan.key: plan.name for plan in writer.scenario.blends}
        self.recipe = {
            (key, recipe.version): recipe
            for recipe in Recipe.objects.select_related("blend").prefetch_related("shares")
            for key, name in names.items()
            if recipe.blend.name == name
        }
        self.blended: list[BlendedEntry] = []

    def write(self) -> None:
        PackingRules.objects.create(blender_g=_BLENDER_G, step_g=_STEP_G)
        blend = {key: recipe.blend for (key, _), recipe in self.recipe.items()}
        packs = Pack.objects.bulk_create(
            Pack(blend=blend[key], bag_g=bag_g, gtin=gtin, per_box=per_box)
            for key, bag_g, gtin, per_box in PACKS
        )
        self.pack = {(pack.blend_id, pack.bag_g): pack for pack in packs}
        made: list[_Made] = []
        for plan in RUNS:
            made.append(self._plan(plan, made))
        runs = Run.objects.bulk_create(m.run for m in made)
        for one, run in zip(made, runs, strict=True):
            one.run = run
        for one in made:
            for part in one.parts:
                part.run = one.run
                part.source = one.rest_of.run if one.rest_of and part.batch is None else None
        RunPart.objects.bulk_create(part for m in made for part in m.parts)
        self._weigh(made)
        self._pack(made)
        self._send(made)
        BlendedEntry.objects.bulk_create(self.blended)
        self._check_mixing(made[-1])

    # --- planning ---------------------------------------------------------------------------

    def _plan(self, plan: RunPlan, before: list[_Made]) -> _Made:
        recipe, on = self.recipe[plan.recipe], self.w.day(plan.days_ago)
        rest = next(
            (m for m in reversed(before) if m.plan.recipe[0] == plan.recipe[0] and m.loose_g), None
        )
        rest = rest if plan.use_rest else None
        shares = {s.approach_id: s.share_ppm for s in recipe.shares.all()}
        sources = {
            key: [
                (batch, grams)
                for batch, grams in self.left.items()
                if batch.approach_version.approach_id == key
                and timezone.localtime(batch.roasted_at, self.w.zone).date() < on
            ]
            for key in shares
        }
        lifts = plan_lifts(
            shares,
            plan.total_g,
            blender_g=_BLENDER_G,
            step_g=_STEP_G,
            sources=sources,
            rest=(0, None, rest.loose_g) if rest else None,
        )
        if lifts.short_g:
            raise AssertionError(f"demo: run {plan.days_ago} lacks {lifts.short_g}")
        per_lift: dict[Batch | None, list[int]] = {}
        for draw in lifts.draws:
            row = per_lift.setdefault(draw.source, [0] * lifts.lifts)
            row[draw.lift - 1] += draw.mass_g
        for batch, grams in per_lift.items():
            if batch is not None:
                self.left[batch] -= sum(grams)
        # Somebody weighs past the plan from a batch that has it.
        past = next((b for b in per_lift if b is not None and self.left[b] >= plan.off_g), None)
        if past is None:
            raise AssertionError(f"demo: no batch of run {plan.days_ago} has {plan.off_g} g more")
        self.left[past] -= plan.off_g
        if rest is not None:
            rest.loose_g -= sum(per_lift[None])
        oldest = min(b.roasted_at for b in per_lift if b is not None)
        run = Run(
            recipe=recipe,
            lot_code=lot_code(DEFAULT_PATTERN, on=on, run=1, blend=recipe.blend.name),
            on=on,
            best_before=timezone.localtime(oldest, self.w.zone).date() + _KEEPS,
            lifts=lifts.lifts,
            step_g=_STEP_G,
            state=Run.State.CLOSED if plan.closed else Run.State.OPEN,
            made_at=self._at(plan.days_ago, 10),
            made_by=self.by,
        )
        parts = [
            RunPart(place=place, batch=batch, per_lift_g=grams, planned_g=sum(grams))
            for place, (batch, grams) in enumerate(per_lift.items(), start=1)
        ]
        bags_g = sum(bag_g * bags for bag_g, bags in plan.bags)
        weighed_g = lifts.total_g + plan.off_g
        loose_g = weighed_g - bags_g - plan.lost_g - plan.missing_g
        if loose_g < 0:
            raise AssertionError(f"demo: run {plan.days_ago} packs {-loose_g} g too much")
        return _Made(plan, run, parts, past, rest, loose_g)

    def _at(self, days_ago: int, hour: int) -> dt.datetime:
        return self.w.moment(days_ago, hour * 60)

    # --- ledgers ----------------------------------------------------------------------------

    def _weigh(self, made: list[_Made]) -> None:
        """What the scale showed: as planned, but for what the first weighing missed."""
        lines: list[tuple[_Made, RunPart, int, int]] = []
        for one in made:
            for part in one.parts:
                off = one.plan.off_g if part.batch == one.past else 0
                for lift, grams in enumerate(part.per_lift_g, start=1):
                    if grams:
                        lines.append((one, part, lift, grams + off))
                        off = 0
        roasted = RoastedEntry.objects.bulk_create(
            RoastedEntry(
                batch=part.batch,
                kind=RoastedEntry.Kind.BLENDED,
                mass_g=-grams,
                on=one.run.on,
                at=self._at(one.plan.days_ago, 10),
                by=self.by,
                reason=one.run.lot_code,
            )
            for one, part, _, grams in lines
            if part.batch is not None
        )
        entries = iter(roasted)
        for one, part, lift, grams in lines:
            entry = next(entries) if part.batch is not None else None
            if part.source is not None:
                self._line(one, "reused", -grams, run=part.source, reason=one.run.lot_code)
            self._line(one, "weighed", grams, part=part, lift=lift, roasted_entry=entry)

    def _line(
        self, one: _Made, kind: str, grams: int, *, run: Run | None = None, **more: object
    ) -> None:
        line = BlendedEntry(
            run=run or one.run,
            kind=kind,
            mass_g=grams,
            on=one.run.on,
            at=self._at(one.plan.days_ago, 11),
            by=self.by,
        )
        for name, value in more.items():
            setattr(line, name, value)
        self.blended.append(line)

    def _pack(self, made: list[_Made]) -> None:
        rows = [
            Packed(run=one.run, pack=self.pack[one.run.recipe.blend_id, bag_g])
            for one in made
            for bag_g, _ in one.plan.bags
        ]
        saved = iter(Packed.objects.bulk_create(rows))
        entries = []
        for one in made:
            for bag_g, bags in one.plan.bags:
                packed = one.packed[bag_g] = next(saved)
                reason = f"{bags} × {packed.pack.size}"
                self._line(one, "packed", -bags * bag_g, reason=reason)
                entries.append(self._bag_line(packed, "packed", bags, one.plan.days_ago))
            if one.plan.missing_g:
                why = "at closing, within what may be missing"
                self._line(one, "count", -one.plan.missing_g, reason=why)
            if one.plan.lost_g:
                self._line(one, "wasted", -one.plan.lost_g, reason="swept up")
        BagEntry.objects.bulk_create(entries)

    def _bag_line(self, packed: Packed, kind: str, bags: int, days_ago: int) -> BagEntry:
        return BagEntry(
            packed=packed,
            kind=kind,
            bags=bags,
            on=self.w.day(days_ago),
            at=self._at(days_ago, 15),
            by=self.by,
        )

    def _send(self, made: list[_Made]) -> None:
        customers = {customer.name: customer for customer in Customer.objects.all()}
        wanted = [
            (one, later, name, bag_g, bags)
            for one in made
            for later, name, bag_g, bags in one.plan.sent
        ]
        dispatches = Dispatch.objects.bulk_create(
            Dispatch(
                customer=customers[name],
                on=self.w.day(one.plan.days_ago - later),
                made_at=self._at(one.plan.days_ago - later, 8),
                made_by=self.by,
            )
            for one, later, name, _, _ in wanted
        )
        lines = DispatchLine.objects.bulk_create(
            DispatchLine(dispatch=dispatch, packed=one.packed[bag_g])
            for dispatch, (one, _, _, bag_g, _) in zip(dispatches, wanted, strict=True)
        )
        entries = []
        for line, (one, later, name, bag_g, bags) in zip(lines, wanted, strict=True):
            sent = self._bag_line(one.packed[bag_g], "sent", -bags, one.plan.days_ago - later)
            sent.line = line
            entries.append(sent)
            back = one.plan.returned
            if back and back[:2] == (name, bag_g):
                days_ago = one.plan.days_ago - later - 1
                returned = self._bag_line(one.packed[bag_g], "returned", back[2], days_ago)
                returned.line, returned.reason = line, back[3]
                entries.append(returned)
        BagEntry.objects.bulk_create(entries)

    def _check_mixing(self, one: _Made) -> None:
        largest = max(one.run.recipe.shares.all(), key=lambda share: share.share_ppm)
        MixingCheck.objects.create(
            run=one.run,
            approach_id=largest.approach_id,
            sample_g=100,
            bean_mg=140,
            shares_ppm=[503_000, 488_000, 517_000, 496_000],
            at=self._at(one.plan.days_ago, 12),
            by=self.by,
        )
