"""All that the list at the machine and the jar labels show."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import segno
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from coupage.units import GRAMS_PER_KG, GRAMS_PER_LB, MassUnit, show_mass
from coupage.web.batches import queries
from coupage.web.batches.forms import PlanForm, WeighForm
from coupage.web.batches.models import Batch, Machine, PlannedBatch
from coupage.web.batches.pages import checks, clock, off_target
from coupage.web.common.requests import Request

__all__ = ["DoneBatch", "JarLabel", "MachinePage", "jar_labels", "machine_page"]


@dataclass(frozen=True, slots=True)
class Running:
    """A batch in the drum, with what it aims at."""

    batch: Batch
    elapsed_s: int
    aims: str


@dataclass(frozen=True, slots=True)
class ToWeigh:
    batch: Batch
    green: str
    form: WeighForm


@dataclass(frozen=True, slots=True)
class DoneBatch:
    batch: Batch
    loss: str
    time: str
    found: str
    is_clear: bool


@dataclass(frozen=True, slots=True)
class MachinePage:
    machine: Machine
    others: tuple[Machine, ...]
    on: dt.date
    running: tuple[Running, ...]
    weigh: tuple[ToWeigh, ...]
    planned: tuple[PlannedBatch, ...]
    done: tuple[DoneBatch, ...]
    sentence: str
    plan: PlanForm


def machine_page(
    request: Request,
    machine: Machine,
    *,
    plan: PlanForm | None = None,
    weighing: tuple[int, WeighForm] | None = None,
) -> MachinePage:
    """Return today's list at a machine; ``weighing`` is a form that came back with a mistake."""
    now = timezone.now()
    on = timezone.localdate(now)
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    running = tuple(_running(batch, now) for batch in queries.in_the_drum(machine, now))
    weigh = tuple(_to_weigh(batch, unit, weighing) for batch in queries.to_weigh(machine, now))
    planned = tuple(queries.planned(machine, on))
    done = tuple(_done(batch, unit) for batch in _of_day(on).filter(machine=machine))
    return MachinePage(
        machine=machine,
        others=tuple(queries.machines().exclude(pk=machine.pk)),
        on=on,
        running=running,
        weigh=weigh,
        planned=planned,
        done=done,
        sentence=_sentence(len(running), len(weigh), len(planned), len(done)),
        plan=plan or PlanForm(unit=unit, prefix="plan"),
    )


def _of_day(on: dt.date) -> QuerySet[Batch]:
    start = timezone.make_aware(dt.datetime.combine(on, dt.time()))
    return (
        queries.batches()
        .filter(roasted_at__gte=start, roasted_at__lt=start + dt.timedelta(days=1))
        .filter(void=False, roasted_g__isnull=False)
        .order_by("-roasted_at", "-id")
    )


def _sentence(running: int, weigh: int, planned: int, done: int) -> str:
    said = [
        f"{running} in the drum" if running else "",
        f"{weigh} to weigh" if weigh else "",
        f"{planned} to roast" if planned else "",
        f"{done} done today" if done else "",
    ]
    return ", ".join(part for part in said if part) or "Nothing on the list yet"


def _running(batch: Batch, now: dt.datetime) -> Running:
    aim = batch.approach_version
    aims = [
        f"{clock(aim.seconds)}" if aim.seconds else "",
        f"{aim.end_temperature_c} °C at the end" if aim.end_temperature_c is not None else "",
        f"colour {aim.colour}" if aim.colour is not None else "",
    ]
    elapsed = max(0, round((now - batch.roasted_at).total_seconds()))
    return Running(batch, elapsed, ", ".join(part for part in aims if part))


def _to_weigh(batch: Batch, unit: MassUnit, sent: tuple[int, WeighForm] | None) -> ToWeigh:
    form = WeighForm(unit=unit, prefix=f"b{batch.pk}")
    if sent is not None and sent[0] == batch.pk:
        form = sent[1]
    green = f"{batch.green_g / float(GRAMS_PER_LB if unit == 'lb' else GRAMS_PER_KG):.4f}"
    return ToWeigh(batch, green, form)


def _done(batch: Batch, unit: MassUnit) -> DoneBatch:
    off = off_target(checks(batch, unit))
    loss = f"{batch.loss_pct:.1f} %"  # type: ignore[attr-defined]
    found = "no targets to go by" if off is None else off or "on target"
    return DoneBatch(batch, loss, clock(batch.seconds) or "–", found, off == "")


@dataclass(frozen=True, slots=True)
class JarLabel:
    """What stands on the jar of a batch's sample."""

    batch: Batch
    facts: tuple[tuple[str, str], ...]
    code: SafeString


def jar_labels(request: Request, batches: QuerySet[Batch]) -> tuple[JarLabel, ...]:
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    return tuple(_label(request, batch, unit) for batch in batches)


def _label(request: Request, batch: Batch, unit: MassUnit) -> JarLabel:
    colour = "–"
    if batch.colour is not None:
        read_on = "ground" if batch.colour_ground else "whole"
        colour = f"{batch.colour} {batch.colour_scale}, {read_on}"
    loss = batch.loss_pct  # type: ignore[attr-defined]
    facts = (
        ("Machine", str(batch.machine or "–")),
        ("Out", show_mass(batch.roasted_g, unit) if batch.roasted_g else "–"),
        ("Loss", "–" if loss is None else f"{loss:.1f} %"),
        ("Colour", colour),
    )
    address = request.build_absolute_uri(reverse("batches:batch", args=[batch.pk]))
    drawn = segno.make(address, micro=False, error="m").svg_inline(scale=2, border=0, omitsize=True)
    return JarLabel(batch, facts, mark_safe(drawn))  # noqa: S308  paths of a code only
