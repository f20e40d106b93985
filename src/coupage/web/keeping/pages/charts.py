"""Charts of an approach on a machine, and the overview of all of them."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import Http404
from django.urls import reverse
from django.utils import timezone

from coupage.errors import InputError
from coupage.roast import ControlChart, control_chart, western_electric_run_length
from coupage.web.batches.models import Batch, Machine
from coupage.web.coffees.models import Approach
from coupage.web.common.charts import Level, TrendChart, TrendPoint, TrendSeries
from coupage.web.common.dates import day_text
from coupage.web.common.requests import Request
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.models import Attribute
from coupage.web.keeping.models import Baseline
from coupage.web.keeping.series import (
    LEAST,
    MEASURES,
    Pair,
    Series,
    baseline_of,
    batches_of,
    pairs,
    series_of,
    taste_series,
)

__all__ = ["ChartPage", "OverviewPage", "chart_page", "overview_page"]

KINDS = {
    "individuals": "Single batches",
    "ewma": "Moving average",
    "cusum": "Added up",
}
SHOWN = 100
FIRST = 20  # batches that set the limits where nobody has decided otherwise
_HELP = {
    "individuals": "Sees a jump at once.",
    "ewma": "A weighted mean of this batch and those before (EWMA): sees slow drifts.",
    "cusum": "Adds up what lies beyond half a sigma above and below (CUSUM): sees slow drifts.",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """One measure of one pair in the overview."""

    name: str
    state: str
    said: str
    url: str


@dataclass(frozen=True, slots=True)
class OverviewRow:
    pair: Pair
    cells: tuple[Cell, ...]
    since: str


@dataclass(frozen=True, slots=True)
class OverviewPage:
    rows: tuple[OverviewRow, ...]
    few: int
    sentence: str
    measures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SignalRow:
    batch: Batch
    value: str
    words: str
    rule: str


@dataclass(frozen=True, slots=True)
class Link:
    label: str
    url: str
    current: bool


@dataclass(frozen=True, slots=True)
class ChartPage:
    approach: Approach
    machine: Machine | None
    title: str
    sentence: str
    note: str
    picture: TrendChart | None
    ranges: TrendChart | None
    signals: tuple[SignalRow, ...]
    measures: tuple[Link, ...]
    kinds: tuple[Link, ...]
    help: str
    baseline: Baseline | None
    facts: tuple[tuple[str, str], ...]
    alarms: str
    is_taste: bool


def overview_page() -> OverviewPage:
    """Return every approach on every machine with its first signals."""
    rows, few, out = [], 0, 0
    for pair in pairs():
        if len(pair.batches) < LEAST:
            few += 1
            continue
        baseline = pair.baseline
        size = baseline.size if baseline else FIRST
        cells = tuple(
            _cell(pair, series_of(measure, pair.batches, size), measure.name)
            for measure in MEASURES
        )
        out += sum(cell.state == "signal" for cell in cells)
        since = f"since {day_text(baseline.since)}" if baseline else ""
        rows.append(OverviewRow(pair, cells, since))
    if not rows:
        sentence = f"Charts begin with {LEAST} batches of an approach on a machine."
    elif out:
        sentence = f"{out} {'chart shows' if out == 1 else 'charts show'} a signal."
    else:
        sentence = "All charts are in control."
    return OverviewPage(tuple(rows), few, sentence, tuple(m.name for m in MEASURES))


def _cell(pair: Pair, series: Series, name: str) -> Cell:
    url = _url(pair.approach, pair.machine, series.key, "individuals")
    if len(series.values) < LEAST:
        return Cell(name, "few", f"{len(series.values)} batches", url)
    for kind in ("individuals", "cusum"):
        chart = _chart(series, kind)
        if isinstance(chart, ControlChart) and chart.first is not None:
            number = series.batches[chart.first].number
            url = _url(pair.approach, pair.machine, series.key, kind)
            return Cell(name, "signal", f"at {number}", url)
    return Cell(name, "in control", "", url)


def _url(approach: Approach, machine: Machine | None, measure: str, kind: str) -> str:
    asked = {"measure": measure, "kind": kind}
    if machine is not None:
        asked["machine"] = str(machine.pk)
    return f"{reverse('keeping:chart', args=[approach.pk])}?{urlencode(asked)}"


def _chart(series: Series, kind: str) -> ControlChart | str:
    """Return the chart, or why there is none."""
    if len(series.values) < LEAST:
        return (
            f"{len(series.values)} of {LEAST} batches: limits from fewer would mean nothing."
            if series.values
            else "Nothing of this was written down yet."
        )
    try:
        return control_chart(
            series.values,
            kind,  # type: ignore[arg-type]
            center=series.center,
            sigma=series.sigma,
            baseline=series.baseline if series.center is None else None,
        )
    except InputError as problem:
        return f"No limits can be set: {problem}."


def chart_page(request: Request, pk: int) -> ChartPage:
    """Return one chart, or 404 when there is no such approach."""
    approach = Approach.objects.select_related("lot").filter(pk=pk).first()
    if approach is None:
        raise Http404("There is no such approach.")
    machine = asked_machine(request)
    baseline = baseline_of(approach, machine)
    batches = list(batches_of(approach, machine, baseline.since if baseline else None))
    kind = request.GET.get("kind", "")
    kind = kind if kind in KINDS else "individuals"
    attributes = [a.name for a in Attribute.objects.filter(archived=False, kind="intensity")]
    key = request.GET.get("measure", "")
    tastes = {f"taste-{name}": name for name in attributes}
    size = baseline.size if baseline else FIRST
    if key in tastes:
        taste = taste_series(tastes[key], batches, beliefs_now())
        series = taste or Series(key, tastes[key], "sd", 1, (), (), (None, None), 0)
    else:
        measure = next((m for m in MEASURES if m.key == key), MEASURES[0])
        series = series_of(measure, batches, size)
    found = _chart(series, kind)
    chart = found if isinstance(found, ControlChart) else None
    offered = [(m.key, m.name) for m in MEASURES] + list(tastes.items())
    return ChartPage(
        approach=approach,
        machine=machine,
        title=f"{series.name[:1].upper()}{series.name[1:]}",
        sentence=_sentence(series, chart) if chart else str(found),
        note=_note(series, chart),
        picture=_picture(series, chart) if chart else _bare(series),
        ranges=_ranges(series, chart) if chart and kind == "individuals" else None,
        signals=_signals(series, chart) if chart else (),
        measures=tuple(
            Link(name, _url(approach, machine, k, kind), k == series.key) for k, name in offered
        ),
        kinds=tuple(
            Link(name, _url(approach, machine, series.key, k), k == kind)
            for k, name in KINDS.items()
        ),
        help=_HELP[kind],
        baseline=baseline,
        facts=_facts(series, chart) if chart else (),
        alarms=_alarms(kind),
        is_taste=series.center is not None,
    )


def asked_machine(request: Request) -> Machine | None:
    asked = request.GET.get("machine", "")
    if not (asked.isascii() and asked.isdigit() and len(asked) < 19):
        return None
    found = Machine.objects.filter(pk=int(asked)).first()
    if found is None:
        raise Http404("There is no such machine.")
    return found


def _sentence(series: Series, chart: ControlChart) -> str:
    unit = f" in {series.unit}" if series.unit and series.unit != "sd" else ""
    what = f"{series.name}{unit}"
    if series.center is not None:
        what = f"taste of {series.name} beyond its sisters, in standard deviations,"
    labels = [f"batch {batch.number}" for batch in series.batches]
    said = chart.explain(what, labels, series.places)
    return f"{said[:1].upper()}{said[1:]}"


def _note(series: Series, chart: ControlChart | None) -> str:
    if chart is None or series.center is not None:
        return ""
    few = series.baseline < 20
    rough = "; from fewer than 20 they are rough" if few else ""
    more = f" The picture shows the newest {SHOWN}." if len(series.values) > SHOWN else ""
    return f"The first {series.baseline} batches set centre and limits{rough}.{more}"


def _alarms(kind: str) -> str:
    if kind == "individuals":
        length = western_electric_run_length()
        return f"With all four rules, a chart in control calls about once in {length:.0f} batches."
    return ""


def _shown(series: Series, skip: int = 0) -> list[tuple[int, Batch]]:
    """The newest batches with their places; more than a hundred could not be told apart."""
    return list(enumerate(series.batches))[skip:][-SHOWN:]


def _picture(series: Series, chart: ControlChart) -> TrendChart:
    flags: dict[int, str] = {}
    for signal in chart.signals:
        if signal.rule != "moving range":
            flags.setdefault(signal.index, signal.words)
    if chart.kind == "cusum":
        lines = tuple(
            TrendSeries(
                name,
                tuple(
                    TrendPoint(
                        timezone.localtime(b.roasted_at),
                        value=float(chart.points[i, column]),
                        flag=flags.get(i, "") if chart.points[i, column] > chart.upper else "",
                        label=f"{b.number}, {name}",
                    )
                    for i, b in _shown(series)
                ),
            )
            for column, name in enumerate(("above", "below"))
        )
        levels: tuple[Level, ...] = (Level(chart.upper, "limit"),)
    else:
        points = tuple(
            TrendPoint(
                timezone.localtime(b.roasted_at),
                value=float(chart.points[i]),
                flag=flags.get(i, ""),
                label=b.number,
            )
            for i, b in _shown(series)
        )
        lines = (TrendSeries(series.name, points),)
        levels = (
            Level(chart.center, "centre", "center"),
            Level(chart.upper, "upper limit"),
            Level(chart.lower, "lower limit"),
        )
    wanted = series.wanted if chart.kind == "individuals" else (None, None)
    return TrendChart(
        lines,
        caption=f"{series.name[:1].upper()}{series.name[1:]}, batch after batch",
        unit=series.unit,
        levels=levels,
        wanted=wanted,
        places=series.places,
        height=260,
    )


def _bare(series: Series) -> TrendChart | None:
    """Points without limits, where there are too few for them."""
    if not series.values:
        return None
    points = tuple(
        TrendPoint(timezone.localtime(b.roasted_at), value=v, label=b.number)
        for b, v in zip(series.batches, series.values, strict=True)
    )
    return TrendChart(
        (TrendSeries(series.name, points),),
        unit=series.unit,
        wanted=series.wanted,
        places=series.places,
    )


def _ranges(series: Series, chart: ControlChart) -> TrendChart:
    jumps = {s.index: s.words for s in chart.signals if s.rule == "moving range"}
    points = tuple(
        TrendPoint(
            timezone.localtime(b.roasted_at),
            value=float(chart.moving_range[i - 1]),
            flag=jumps.get(i, ""),
            label=b.number,
        )
        for i, b in _shown(series, 1)
    )
    return TrendChart(
        (TrendSeries("moving range", points),),
        caption="Difference from the batch before (moving range)",
        unit=series.unit,
        levels=(Level(chart.range_center, "mean", "center"), Level(chart.range_upper, "limit")),
        places=series.places,
        height=150,
    )


def _signals(series: Series, chart: ControlChart) -> tuple[SignalRow, ...]:
    return tuple(
        SignalRow(
            series.batches[s.index],
            f"{series.values[s.index]:.{series.places}f}",
            s.words,
            s.rule,
        )
        for s in chart.signals
    )


def _facts(series: Series, chart: ControlChart) -> tuple[tuple[str, str], ...]:
    unit = f" {series.unit}" if series.unit else ""
    p = max(series.places, 1)
    facts = [
        ("Batches", str(len(series.values))),
        ("Centre", f"{chart.target:.{p}f}{unit}"),
        ("Sigma", f"{chart.sigma:.{p + 1}f}{unit}"),
    ]
    if chart.kind == "cusum":
        facts.append(("Decision interval", f"{chart.upper:.{p + 1}f}{unit}"))
    else:
        facts.append(("Limits", f"{chart.lower:.{p}f} to {chart.upper:.{p}f}{unit}"))
    return tuple(facts)
