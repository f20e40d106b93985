"""Sheets for the table: labels, the host's key, what to weigh, paper for tasters."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from coupage.table import Weighing, pull_grams, water_ml, weigh
from coupage.units import PPM, MassUnit, show_mass, show_share
from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Attribute, Cup, Cupping, Part, Sample, Seat
from coupage.web.cuppings.pages.table import made_of

__all__ = [
    "KeyRow",
    "PaperSheet",
    "WeighedSample",
    "WeighingPage",
    "key_rows",
    "paper_sheets",
    "weighing_page",
]


@dataclass(frozen=True, slots=True)
class KeyRow:
    """A sample with its codes; ``sample`` with what is in it."""

    sample: Sample
    made_of: str
    codes: tuple[str, ...]


def _samples(table: Cupping) -> list[tuple[Sample, list[Cup]]]:
    cups: dict[int, list[Cup]] = {}
    for cup in table.cups.order_by("code"):
        cups.setdefault(cup.sample_id, []).append(cup)
    found = queries.samples().filter(pk__in=cups).order_by("label")
    return [(sample, cups[sample.pk]) for sample in found]


def key_rows(table: Cupping) -> tuple[KeyRow, ...]:
    """Return what stands under which code."""
    return tuple(
        KeyRow(sample, made_of(sample), tuple(cup.code for cup in cups))
        for sample, cups in _samples(table)
    )


@dataclass(frozen=True, slots=True)
class WeighedPart:
    coffee: str
    batch: str
    share: str
    per_cup: str
    achieved: str


@dataclass(frozen=True, slots=True)
class WeighedSample:
    sample: Sample
    codes: str
    cups: int
    parts: tuple[WeighedPart, ...]
    whole: str


@dataclass(frozen=True, slots=True)
class WeighingPage:
    table: Cupping
    samples: tuple[WeighedSample, ...]
    pull: tuple[tuple[str, str, str], ...]
    cup: str
    water: str
    ratio: str
    kettle: str
    resolution: str
    purge: str
    warnings: tuple[str, ...]


def weighing_page(
    table: Cupping, *, resolution_g: Decimal, purge_g: Decimal, unit: MassUnit
) -> WeighingPage:
    """Work out what to weigh for a table.

    Raises
    ------
    InputError
        When the scale is too coarse for a cup.
    """
    protocol = table.protocol
    dose_g = protocol.dose_mg / 1000
    rows, weighings = [], []
    warnings: dict[str, None] = {}
    batches: dict[str, Part] = {}
    cups_in_all = 0
    for sample, cups in _samples(table):
        parts = list(sample.parts.all())
        batches |= {part.batch.number: part for part in parts}
        weighing = weigh(
            [part.share_ppm / PPM for part in parts],
            dose_g,
            len(cups),
            float(resolution_g),
            names=[part.batch.number for part in parts],
            tolerance=0.01,
        )
        weighings.append(weighing)
        cups_in_all += len(cups)
        warnings |= {
            w if w.startswith("A cup of") else f"{sample}, {w}": None for w in weighing.warnings
        }
        rows.append(_weighed(sample, cups, parts, weighing, unit))
    pulled = pull_grams(weighings, purge_grams=float(purge_g))
    grams_per_ml = dose_g / protocol.water_g
    cup_g = weighings[0].cup_grams if weighings else dose_g
    water = water_ml(cup_g, grams_per_ml=grams_per_ml)
    return WeighingPage(
        table=table,
        samples=tuple(rows),
        pull=tuple(
            (number, str(batches[number].batch.approach_version.approach), _shown(mass, unit))
            for number, mass in pulled.items()
        ),
        cup=_shown(cup_g, unit),
        water=f"{water:.0f} g",
        ratio=f"{protocol.dose_mg / 1000:g} g to {protocol.water_g} g, at {protocol.water_c:g} °C",
        kettle=f"{water * cups_in_all / 1000:.1f} L",
        resolution=f"{resolution_g:g} g",
        purge=f"{purge_g:g} g",
        warnings=tuple(warnings),
    )


def _weighed(
    sample: Sample, cups: list[Cup], parts: list[Part], weighing: Weighing, unit: MassUnit
) -> WeighedSample:
    return WeighedSample(
        sample=sample,
        codes=", ".join(cup.code for cup in cups),
        cups=len(cups),
        parts=tuple(
            WeighedPart(
                coffee=str(part.batch.approach_version.approach),
                batch=part.batch.number,
                share=show_share(part.share_ppm),
                per_cup=_shown(per_cup, unit),
                achieved=f"{100 * achieved:.1f} %",
            )
            for part, per_cup, achieved in zip(
                parts, weighing.grams, weighing.achieved, strict=True
            )
        ),
        whole=_shown(weighing.cup_grams * weighing.cups, unit),
    )


def _shown(grams: float, unit: MassUnit) -> str:
    """Write a mass as the scale shows it."""
    exact = Decimal(str(round(grams, 3)))
    return f"{exact:f} g" if unit == "kg" else show_mass(exact, "oz", 3)


@dataclass(frozen=True, slots=True)
class PaperSheet:
    """An empty sheet of one taster: cups in their own order."""

    seat: Seat
    cups: tuple[str, ...]


def paper_sheets(table: Cupping, seat: str) -> tuple[PaperSheet, ...]:
    """Return empty sheets of all seats, or of one that was asked for."""
    orders = queries.orders(table)
    return tuple(
        PaperSheet(each, tuple(cup.code for cup in orders.get(each.pk, ())))
        for each in queries.seats_of(table)
        if not seat or str(each.pk) == seat
    )


def asked(table: Cupping) -> list[Attribute]:
    return [entry.attribute for entry in table.asked.select_related("attribute")]
