"""All that the pages about lots show, worked out before a template sees it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Q, Sum
from django.http import Http404

from coupage.units import MassUnit, show_mass
from coupage.web.coffees import queries
from coupage.web.coffees.models import Approach, ApproachVersion, Lot, Process, StockEntry
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.people import history
from coupage.web.people.models import Change
from coupage.web.people.queries import roastery

__all__ = [
    "ApproachPart",
    "LotPage",
    "LotsPage",
    "Target",
    "lot_page",
    "lots_page",
    "next_version",
]


@dataclass(frozen=True, slots=True)
class LotsPage:
    lots: Listing[queries.StockedLot]
    low_g: int
    low_sentence: str
    low_note: str
    price_heading: str


@dataclass(frozen=True, slots=True)
class Target:
    """One target of an approach with what counts as on target."""

    name: str
    value: str
    within: str


@dataclass(frozen=True, slots=True)
class ApproachPart:
    approach: Approach
    version: ApproachVersion | None
    targets: tuple[Target, ...]
    older: int


@dataclass(frozen=True, slots=True)
class LedgerLine:
    entry: StockEntry
    mass: str


@dataclass(frozen=True, slots=True)
class LotPage:
    lot: Lot
    sentence: str
    facts: tuple[tuple[str, str], ...]
    approaches: tuple[ApproachPart, ...]
    ledger: tuple[LedgerLine, ...]
    used: str
    stock_sub: str
    promised: tuple[tuple[str, str], ...]
    changes: tuple[Change, ...]


def lots_page(request: Request) -> LotsPage:
    low_g = roastery().low_stock_g
    lots = Listing.of(
        request,
        queries.lots(),
        search=("name", "origin", "region", "producer", "process"),
        sorts={
            "name": "name",
            "origin": ("origin", "region", "name"),
            "process": ("process", "name"),
            "crop": ("crop_year", "name"),
            "price": ("price_per_kg", "name"),
            "on_hand": "on_hand_g",
        },
        default="name",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("use", "In use", Q(archived=False)),
                    Choice("low", "Running low", Q(archived=False, on_hand_g__lt=low_g)),
                    Choice("away", "Put away", Q(archived=True)),
                ),
                default="use",
            ),
            Filter(
                "process",
                "Process",
                tuple(Choice(key, label, Q(process=key)) for key, label in Process.choices),
            ),
        ),
    )
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    low = [lot.name for lot in queries.lots_running_low(low_g)]
    return LotsPage(
        lots=lots,
        low_g=low_g,
        low_sentence=_low_sentence(low),
        low_note=f"Below {show_mass(low_g, unit)}; the owner sets this in the roastery's settings.",
        price_heading=f"Price, {roastery().currency}/kg",
    )


def _low_sentence(names: list[str]) -> str:
    if not names:
        return ""
    if len(names) == 1:
        return f"{names[0]} is running low."
    return f"{', '.join(names[:-1])} and {names[-1]} are running low."


def lot_page(request: Request, pk: int) -> LotPage:
    """Return one lot's page, or 404."""
    lot = queries.lots().filter(pk=pk).first()
    if lot is None:
        raise Http404("There is no such lot.")
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    settings = roastery()
    on_hand_g: int = lot.on_hand_g
    return LotPage(
        lot=lot,
        sentence=_stock_sentence(lot, on_hand_g, settings.low_stock_g, unit),
        facts=_facts(lot, unit, settings.currency),
        approaches=_approach_parts(lot, unit),
        ledger=tuple(
            LedgerLine(entry, _signed(entry.mass_g, unit))
            for entry in lot.stock_entries.select_related("by").order_by("-on", "-id")
        ),
        used=show_mass(lot.used_g, unit),
        stock_sub=_stock_sub(lot, unit),
        promised=_promised(lot, unit),
        changes=tuple(history.of(lot)[:20]),
    )


def _stock_sub(lot: queries.StockedLot, unit: MassUnit) -> str:
    text = f"On hand: {show_mass(lot.on_hand_g, unit)}, the sum of all lines below"
    if not lot.promised_g:
        return f"{text}."
    return (
        f"{text}; {show_mass(lot.promised_g, unit)} of that are promised to planned roasts, "
        f"{show_mass(max(lot.free_g, 0), unit)} are free."
    )


def _promised(lot: queries.StockedLot, unit: MassUnit) -> tuple[tuple[str, str], ...]:
    """What is promised of a lot, by purpose."""
    rows = lot.reservations.order_by().values("purpose").annotate(total=Sum("mass_g"))
    kept = [(row["purpose"], row["total"]) for row in rows if row["total"]]
    return tuple((purpose, show_mass(total, unit)) for purpose, total in sorted(kept))


def _signed(mass_g: int, unit: MassUnit) -> str:
    return ("+" if mass_g > 0 else "−") + show_mass(abs(mass_g), unit)


def _stock_sentence(lot: Lot, on_hand_g: int, low_g: int, unit: MassUnit) -> str:
    left = show_mass(on_hand_g, unit)
    if lot.archived:
        return f"{lot.name} is put away; {left} are on the books."
    if on_hand_g < 0:
        return (
            f"More of {lot.name} was roasted than ever arrived: the books stand at {left}. "
            "Enter the missing receipt or a count."
        )
    if on_hand_g == 0:
        return f"Nothing of {lot.name} is left."
    if on_hand_g < low_g:
        return (
            f"{left} of {lot.name} are left, which is running low (below {show_mass(low_g, unit)})."
        )
    return f"{left} of {lot.name} are on hand."


def _facts(lot: Lot, unit: MassUnit, currency: str) -> tuple[tuple[str, str], ...]:
    made = [
        ("Origin", ", ".join(part for part in (lot.origin, lot.region) if part)),
        ("Producer", lot.producer),
        ("Process", lot.get_process_display()),
        ("Species", lot.get_species_display() + (", decaffeinated" if lot.decaffeinated else "")),
        ("Crop", lot.crop_year),
        ("Moisture", "" if lot.moisture_pct is None else f"{lot.moisture_pct} %"),
        (
            "Landed price",
            "" if lot.price_per_kg is None else f"{lot.price_per_kg:.2f} {currency}/kg green",
        ),
        ("One bag", "" if lot.bag_g is None else show_mass(lot.bag_g, unit)),
    ]
    return tuple((name, value or "–") for name, value in made)


def _approach_parts(lot: Lot, unit: MassUnit) -> tuple[ApproachPart, ...]:
    parts = []
    for approach in lot.approaches.prefetch_related("versions"):
        versions = sorted(approach.versions.all(), key=lambda version: -version.number)
        newest = versions[0] if versions else None
        parts.append(
            ApproachPart(
                approach=approach,
                version=newest,
                targets=_targets(newest, unit) if newest else (),
                older=max(0, len(versions) - 1),
            )
        )
    return tuple(parts)


def _targets(version: ApproachVersion, unit: MassUnit) -> tuple[Target, ...]:
    made: list[tuple[str, Any, str, str]] = [
        ("Charge", version.charge_g and show_mass(version.charge_g, unit), "", ""),
        ("Loss", version.loss_pct, " %", f"± {version.loss_tolerance_pct} points"),
        (
            f"Colour ({version.colour_scale})" if version.colour_scale else "Colour",
            version.colour,
            "",
            f"± {version.colour_tolerance} units",
        ),
        ("Roast time", _clock(version.seconds), "", f"± {version.seconds_tolerance} s"),
        (
            "End temperature",
            version.end_temperature_c,
            " °C",
            f"± {version.end_temperature_tolerance_c} °C",
        ),
    ]
    return tuple(
        Target(name, f"{value}{suffix}", within)
        for name, value, suffix, within in made
        if value is not None and value != ""
    )


def _clock(seconds: int | None) -> str | None:
    return None if seconds is None else f"{seconds // 60}:{seconds % 60:02d} min"


def next_version(approach: Approach) -> ApproachVersion | None:
    """Return a copy of the newest targets to begin new ones from."""
    newest = approach.versions.order_by("-number").first()
    if newest is not None:
        newest.pk = None
    return newest
