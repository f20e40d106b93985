"""Where the spread in the ratings comes from, and how each taster rates."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from coupage.panel import Beliefs, Spread, TasterReport
from coupage.web.common.charts import Composition, Part, ProfileChart, ProfileRow
from coupage.web.common.drawing import Doubt
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.models import Attribute, Taster
from coupage.web.cuppings.pages.said import chance_text, joined, settings_text, signed
from coupage.web.people.access import may
from coupage.web.people.models import Person

__all__ = ["SpreadPage", "TastersPage", "spread_page", "steadiness_page"]

# Source in the ratings -> what it is called, what it means, and its slot in pictures.
SOURCES: dict[str, tuple[str, str, int]] = {
    "coffee": ("coffees", "what one coffee has that another has not: what you want to taste", 3),
    "approach": ("ways of roasting", "what one way of roasting a lot does to it", 4),
    "batch": ("batches", "what one roast has that its sisters by the same targets have not", 2),
    "taster": ("tasters", "some rate everything higher or lower than the others do", 1),
    "cupping": ("days", "one table is rated higher or lower than another as a whole", 5),
    "disagreement": ("disagreement", "tasters who see one coffee differently, cup after cup", 6),
    "cup": ("single ratings", "one taster rating one coffee again: the cup, the moment", 7),
}


@dataclass(frozen=True, slots=True)
class SourceFigure:
    name: str
    sd: str
    interval: str
    share: str


@dataclass(frozen=True, slots=True)
class SpreadRow:
    """One attribute: its bar, and the figures behind it."""

    attribute: str
    picture: Composition
    figures: tuple[SourceFigure, ...]


@dataclass(frozen=True, slots=True)
class SpreadPage:
    sentence: str
    note: str
    legend: Composition | None
    rows: tuple[SpreadRow, ...]
    sources: tuple[tuple[str, str], ...]
    settings: tuple[tuple[str, str], ...]


def spread_page() -> SpreadPage:
    """Return where the ratings of all revealed tables differ."""
    beliefs = beliefs_now()
    attributes = _known(beliefs)
    if beliefs is None:
        return SpreadPage("No table is revealed yet.", "", None, (), (), ())
    found = beliefs.spread()
    shares = {a.name: found[a.name].shares() for a in attributes}
    judged = [shares[a.name] for a in attributes if a.kind == Attribute.Kind.INTENSITY]
    mean = {name: float(np.mean([s.get(name, 0.0) for s in judged])) for name in SOURCES if judged}
    present = {name: share for name, share in mean.items() if share > 0}
    return SpreadPage(
        sentence=_spread_sentence(present),
        note=_spread_note(present),
        legend=_bar("All attributes together", present, legend=True) if present else None,
        rows=tuple(_row(a, found[a.name], shares[a.name]) for a in attributes),
        sources=tuple((SOURCES[n][0].capitalize(), SOURCES[n][1]) for n in present),
        settings=settings_text(beliefs, attributes),
    )


def _known(beliefs: Beliefs | None) -> list[Attribute]:
    return list(Attribute.objects.filter(name__in=beliefs.attributes)) if beliefs else []


def _spread_sentence(shares: dict[str, float]) -> str:
    if not shares:
        return "No intensity was rated yet."
    first, second = sorted(shares, key=lambda name: -shares[name])[:2]
    return (
        f"Most of the spread in the ratings comes from the {SOURCES[first][0]} "
        f"({chance_text(shares[first])}), then from the {SOURCES[second][0]} "
        f"({chance_text(shares[second])})."
    )


def _spread_note(shares: dict[str, float]) -> str:
    people = shares.get("taster", 0) + shares.get("disagreement", 0)
    cup, coffee = shares.get("cup", 0), shares.get("coffee", 0) + shares.get("approach", 0)
    if people > max(cup, coffee):
        return "Tasting one set of cups together and talking about it would help most."
    if cup > coffee:
        return "More cups of each sample, tasted blind, would help most."
    return "The table tells coffees apart well; the rest is what cups and people add."


def _bar(label: str, shares: dict[str, float], *, legend: bool = False) -> Composition:
    return Composition(
        [Part(SOURCES[n][0], share, SOURCES[n][2]) for n, share in shares.items() if share > 0],
        label=label,
        legend=legend,
    )


def _row(attribute: Attribute, spread: Spread, shares: dict[str, float]) -> SpreadRow:
    ordered = {name: shares[name] for name in SOURCES if name in shares}
    figures = tuple(
        SourceFigure(
            name=SOURCES[name][0],
            sd=f"{getattr(spread, name):.2f}",
            interval=f"{spread.low90[name]:.2f}–{spread.high90[name]:.2f}",
            share=chance_text(ordered[name]),
        )
        for name in ordered
    )
    name = attribute.name.capitalize()
    return SpreadRow(name, _bar(f"{name}: where the spread comes from", ordered), figures)


# --- tasters -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TasterRow:
    name: str
    ratings: int
    bias: str
    noise: str
    apart: str
    agreement: str
    url: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class TasterFigures:
    attribute: str
    ratings: int
    bias: str
    noise: str
    apart: str
    agreement: str


@dataclass(frozen=True, slots=True)
class TastersPage:
    sentence: str
    note: str
    rows: tuple[TasterRow, ...]
    chosen: str
    picture: ProfileChart | None
    figures: tuple[TasterFigures, ...]
    all_shown: bool


def steadiness_page(person: Person, asked: str) -> TastersPage:
    """Return how tasters rate: all of them for those who work, else only oneself."""
    beliefs = beliefs_now()
    everybody = may(person, "work")
    reports = {report.taster: report for report in beliefs.tasters()} if beliefs else {}
    keys = {
        taster.name: taster
        for taster in Taster.objects.filter(name__in=reports)
        if everybody or taster.person_id == person.pk
    }
    intensities = [a for a in _known(beliefs) if a.kind == Attribute.Kind.INTENSITY]
    chosen = next((n for n, taster in keys.items() if str(taster.pk) == asked), "")
    chosen = chosen or next(iter(sorted(keys)), "")
    rows = tuple(
        _taster_row(reports[name], intensities, keys[name].pk, name == chosen)
        for name in sorted(keys)
    )
    if not chosen:
        said = "You have no ratings at a revealed table yet."
        return TastersPage(
            "No table is revealed yet." if everybody else said, "", (), "", None, (), everybody
        )
    report = reports[chosen]
    return TastersPage(
        sentence=_taster_sentence(report, intensities, you=not everybody),
        note=_taster_note(report, intensities),
        rows=rows,
        chosen=chosen,
        picture=_bias_picture(report, intensities),
        figures=tuple(_figures(report, a.name) for a in intensities if report.ratings[a.name]),
        all_shown=everybody,
    )


def _mean(values: Iterable[float | None]) -> float | None:
    there = [value for value in values if value is not None]
    return float(np.mean(there)) if there else None


def _noise(report: TasterReport, attributes: list[Attribute]) -> float:
    return float(np.sqrt(np.mean([report.noise[a.name].mean ** 2 for a in attributes])))


def _taster_row(
    report: TasterReport, attributes: list[Attribute], pk: int, chosen: bool
) -> TasterRow:
    names = [a.name for a in attributes]
    return TasterRow(
        name=report.taster,
        ratings=sum(report.ratings.values()),
        bias=signed(_mean(report.bias[n].mean for n in names) or 0.0),
        noise=f"{_noise(report, attributes):.1f}",
        apart=_share(_mean(report.tells_apart[n] for n in names)),
        agreement=_correlation(_mean(report.agreement[n] for n in names)),
        url=f"?taster={pk}",
        chosen=chosen,
    )


def _share(value: float | None) -> str:
    return "–" if value is None else f"{100 * value:.0f} %"


def _correlation(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}".replace("-", "−")


def _taster_sentence(report: TasterReport, attributes: list[Attribute], *, you: bool) -> str:
    who, repeats = ("You", "repeat") if you else (report.taster, "repeats")
    sure = [a.name for a in attributes if _off_by(report, a.name)]
    noise = _noise(report, attributes)
    start = f"{who} {repeats} a rating to within about {noise:.1f} points"
    if not sure:
        return f"{start} and {'rate' if you else 'rates'} no attribute clearly off the table."
    most = max(sure, key=lambda n: abs(report.bias[n].mean))
    mean = report.bias[most].mean
    side = "above" if mean > 0 else "below"
    return f"{start} and {'rate' if you else 'rates'} {most} {abs(mean):.1f} {side} the table."


def _off_by(report: TasterReport, attribute: str) -> bool:
    bias = report.bias[attribute]
    return bool(report.ratings[attribute]) and (bias.low90 > 0 or bias.high90 < 0)


def _taster_note(report: TasterReport, attributes: list[Attribute]) -> str:
    apart = {a.name: report.tells_apart[a.name] for a in attributes}
    known = {name: value for name, value in apart.items() if value is not None}
    if not known:
        return ""
    best = sorted(known, key=lambda name: -known[name])[:2]
    worst = min(known, key=lambda name: known[name])
    return f"Tells coffees apart best by {joined(best)}, least by {worst}."


def _bias_picture(report: TasterReport, attributes: list[Attribute]) -> ProfileChart:
    rows = []
    for a in attributes:
        b = report.bias[a.name]
        value = Doubt(b.mean, b.low50, b.high50, b.low90, b.high90)
        rows.append(ProfileRow(a.name.capitalize(), (value if report.ratings[a.name] else None,)))
    ends = [
        abs(v) for a in attributes for v in (report.bias[a.name].low90, report.bias[a.name].high90)
    ]
    reach = float(np.ceil(max([2.0, *ends])))
    return ProfileChart(
        rows,
        caption=f"{report.taster}: points above or below the table",
        low=-reach,
        high=reach,
    )


def _figures(report: TasterReport, attribute: str) -> TasterFigures:
    bias, noise = report.bias[attribute], report.noise[attribute]
    return TasterFigures(
        attribute=attribute,
        ratings=report.ratings[attribute],
        bias=f"{signed(bias.mean)} ({signed(bias.low90)} to {signed(bias.high90)})",
        noise=f"{noise.mean:.1f} ({noise.low90:.1f}–{noise.high90:.1f})",
        apart=_share(report.tells_apart[attribute]),
        agreement=_correlation(report.agreement[attribute]),
    )
