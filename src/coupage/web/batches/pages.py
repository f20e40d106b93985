"""All that the pages about batches show."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Q
from django.http import Http404
from django.urls import reverse

from coupage.roast import loss
from coupage.units import MassUnit, show_mass
from coupage.web.batches import queries
from coupage.web.batches.models import Batch, BatchVerdict, Verdict
from coupage.web.batches.proposing import HOLD_FROM, Proposal, Reason, propose
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.people import history
from coupage.web.people.models import Change

__all__ = [
    "BatchPage",
    "BatchesPage",
    "Check",
    "batch_page",
    "batches_page",
    "checks",
    "clock",
    "measured_reasons",
    "off_target",
    "proposal_for",
]


@dataclass(frozen=True, slots=True)
class BatchesPage:
    batches: Listing[Batch]
    sentence: str


@dataclass(frozen=True, slots=True)
class Check:
    """One measured number beside its target. ``on_target`` is None where there is no target.

    ``times`` says how many tolerances it is off.
    """

    name: str
    measured: str
    target: str
    within: str
    difference: str
    on_target: bool | None
    times: float | None = None


@dataclass(frozen=True, slots=True)
class BatchPage:
    batch: Batch
    title: str
    coffee: str
    sentence: str
    note: str
    facts: tuple[tuple[str, str] | tuple[str, str, str], ...]
    checks: tuple[Check, ...]
    proposal: Proposal
    verdicts: tuple[BatchVerdict, ...]
    changes: tuple[Change, ...]


def batches_page(request: Request) -> BatchesPage:
    batches = Listing.of(
        request,
        queries.batches(),
        search=(
            "number",
            "approach_version__approach__lot__name",
            "approach_version__approach__name",
            "note",
        ),
        sorts={
            "number": "number",
            "roasted": ("roasted_at", "id"),
            "coffee": (
                "approach_version__approach__lot__name",
                "approach_version__approach__name",
                "-roasted_at",
            ),
            "green": "green_g",
            "loss": "loss_pct",
            "colour": ("colour_scale", "colour"),
        },
        default="-roasted",
        filters=(
            Filter(
                "verdict",
                "Verdict",
                tuple(
                    Choice(value.replace(" ", "-"), label, Q(verdict=value))
                    for value, label in Verdict.choices
                ),
            ),
            Filter(
                "kept",
                "Show",
                (
                    Choice("valid", "Valid", Q(void=False)),
                    Choice("void", "Void", Q(void=True)),
                ),
                default="valid",
            ),
        ),
    )
    waiting = queries.waiting().count()
    sentence = ""
    if waiting:
        sentence = f"{waiting} {'batch waits' if waiting == 1 else 'batches wait'} for a verdict."
    return BatchesPage(batches=batches, sentence=sentence)


def batch_page(request: Request, pk: int) -> BatchPage:
    """Return one batch's page, or 404."""
    batch = queries.batches().filter(pk=pk).first()
    if batch is None:
        raise Http404("There is no such batch.")
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    found = checks(batch, unit)
    approach = batch.approach_version.approach
    return BatchPage(
        batch=batch,
        title=str(batch),
        coffee=str(approach),
        sentence=_sentence(batch, found),
        note=_verdict_note(batch),
        facts=_facts(batch),
        checks=found,
        proposal=propose(batch, measured_reasons(batch, found)),
        verdicts=tuple(batch.verdicts.select_related("by")),
        changes=tuple(history.of(batch)[:20]),
    )


def proposal_for(batch: Batch, unit: MassUnit) -> Proposal:
    """Return the verdict that is proposed for a batch now."""
    return propose(batch, measured_reasons(batch, checks(batch, unit)))


def _sentence(batch: Batch, found: tuple[Check, ...]) -> str:
    if batch.void:
        return f"{batch} is void: it counts nowhere."
    if batch.roasted_g is None:
        return f"{batch} is not weighed yet."
    off = off_target(found)
    if off is None:
        return f"{batch} has no targets to be measured against."
    return f"{batch} is {off or 'on target in all that was measured'}."


def measured_reasons(batch: Batch, found: tuple[Check, ...]) -> list[Reason]:
    """Return what each measured number speaks for."""
    if batch.roasted_g is None:
        return [Reason("mass", "it is not weighed yet", Verdict.LOOK_AGAIN)]
    reasons = []
    for check in found:
        if check.times is None:
            continue
        name = check.name[0].lower() + check.name[1:]
        if check.on_target:
            says, verdict = f"{name} is on target", Verdict.RELEASE
        else:
            says = f"{name} is off by {check.difference}, {check.times:.1f} times what is allowed"
            verdict = Verdict.HOLD if check.times > HOLD_FROM else Verdict.LOOK_AGAIN
        reasons.append(Reason(name, says, verdict))
    return reasons


def off_target(found: tuple[Check, ...]) -> str | None:
    """Say in what a batch is off target; empty when in nothing, None when nothing was measured."""
    off = [check.name[0].lower() + check.name[1:] for check in found if check.on_target is False]
    if all(check.on_target is None for check in found):
        return None
    if not off:
        return ""
    many = off[0] if len(off) == 1 else f"{', '.join(off[:-1])} and {off[-1]}"
    return f"off target in {many}"


def _verdict_note(batch: Batch) -> str:
    newest = batch.verdicts.select_related("by").first()
    if newest is None:
        return "Nobody has judged it yet."
    because = f": {newest.reason}" if newest.reason else "."
    return f"{newest.by} said {newest.verdict}{because}"


def _facts(batch: Batch) -> tuple[tuple[str, str] | tuple[str, str, str], ...]:
    approach = batch.approach_version.approach
    colour = "ground" if batch.colour_ground else "whole beans"
    return (
        ("Coffee", approach.lot.name, reverse("coffees:lot", args=[approach.lot_id])),
        ("Approach", f"{approach.name}, version {batch.approach_version.number}"),
        ("Machine", str(batch.machine or "–")),
        ("Operator", str(batch.operator or "–")),
        ("First crack", clock(batch.first_crack_s) or "–"),
        ("Development", _development(batch)),
        ("Colour read on", colour if batch.colour is not None else "–"),
        ("Note", batch.note or "–"),
    )


def checks(batch: Batch, unit: MassUnit) -> tuple[Check, ...]:
    """Return every measured number of a batch beside its target."""
    aim = batch.approach_version
    lost = None
    if batch.roasted_g is not None:
        lost = Decimal(str(100 * loss(batch.green_g / 1000, batch.roasted_g / 1000)))
    same_scale = batch.colour_scale == aim.colour_scale
    masses = (
        ("Green in", show_mass(batch.green_g, unit), aim.charge_g),
        ("Roasted out", batch.roasted_g and show_mass(batch.roasted_g, unit), None),
    )
    rows = [
        Check(name, shown or "–", show_mass(target, unit) if target else "–", "–", "–", None)
        for name, shown, target in masses
    ]
    rows.append(_check("Loss", lost, aim.loss_pct, aim.loss_tolerance_pct, "%", "points"))
    colour_name = f"Colour ({batch.colour_scale})" if batch.colour_scale else "Colour"
    target = aim.colour if same_scale else None
    rows.append(_check(colour_name, batch.colour, target, aim.colour_tolerance, "", "units"))
    rows.append(_time_check(batch.seconds, aim.seconds, aim.seconds_tolerance))
    rows.append(
        _check(
            "End temperature",
            batch.end_temperature_c,
            aim.end_temperature_c,
            aim.end_temperature_tolerance_c,
            "°C",
            "°C",
        )
    )
    return tuple(rows)


def _check(
    name: str,
    measured: Decimal | None,
    target: Decimal | None,
    within: Decimal,
    unit: str,
    difference_unit: str,
) -> Check:
    suffix = f" {unit}" if unit else ""
    if measured is None or target is None:
        return Check(
            name,
            "–" if measured is None else f"{measured:.1f}{suffix}",
            "–" if target is None else f"{target:.1f}{suffix}",
            "–" if target is None else f"± {within:.1f} {difference_unit}",
            "–",
            None,
        )
    # Compared as shown: a loss of 15.04 % that reads 15.0 % is not off by a rounding nobody sees.
    off = round(measured, 1) - target
    return Check(
        name,
        f"{measured:.1f}{suffix}",
        f"{target:.1f}{suffix}",
        f"± {within:.1f} {difference_unit}",
        f"{off:+.1f}".replace("-", "−"),
        abs(off) <= within,
        abs(float(off)) / float(within),
    )


def _time_check(measured: int | None, target: int | None, within: int) -> Check:
    off = None if measured is None or target is None else measured - target
    return Check(
        "Roast time",
        clock(measured) or "–",
        clock(target) or "–",
        "–" if target is None else f"± {within} s",
        "–" if off is None else f"{off:+d} s".replace("-", "−"),
        None if off is None else abs(off) <= within,
        None if off is None else abs(off) / within,
    )


def _development(batch: Batch) -> str:
    """Time from the first crack to the drop, and its share of the roast."""
    if batch.seconds is None or batch.first_crack_s is None:
        return "–"
    developed = batch.seconds - batch.first_crack_s
    return f"{clock(developed)}, {100 * developed / batch.seconds:.0f} % of the roast"


def clock(seconds: int | None) -> str:
    """Write seconds as on a clock; empty when there are none."""
    return "" if seconds is None else f"{seconds // 60}:{seconds % 60:02d} min"
