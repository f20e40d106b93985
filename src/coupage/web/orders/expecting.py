"""The page of what is expected: history, forecast, what is ordered already, the roaster's number.

The roaster's own number always wins; without one a week counts with its forecast, or with what is
ordered already where that is more.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache

from django.http import Http404

from coupage.units import MassUnit, grams, show_mass
from coupage.web.blends.models import Blend
from coupage.web.common.charts import TrendChart, TrendPoint, TrendSeries
from coupage.web.common.dates import day_text
from coupage.web.common.drawing import Doubt
from coupage.web.common.requests import Request
from coupage.web.orders import queries
from coupage.web.orders.forecast import Forecast, forecast
from coupage.web.orders.forms import ExpectForm
from coupage.web.orders.models import Expectation

__all__ = ["AHEAD_WEEKS", "BlendOutlook", "Week", "expected_kg", "outlook_page", "outlooks"]

AHEAD_WEEKS = 8
_BACK_WEEKS = 104
_SHOWN_WEEKS = 30

_kept = lru_cache(maxsize=64)(forecast)


@dataclass(frozen=True, slots=True)
class Week:
    """One week to come."""

    monday: dt.date
    forecast: str
    range: str
    ordered: str
    own: str
    counts: str
    counts_kg: float
    form: ExpectForm


@dataclass(frozen=True, slots=True)
class BlendOutlook:
    blend: Blend
    sentence: str
    note: str
    chart: TrendChart | None
    weeks: tuple[Week, ...]


def monday(day: dt.date) -> dt.date:
    return day - dt.timedelta(days=day.weekday())


def outlook_page(request: Request, pk: int, today: dt.date) -> BlendOutlook:
    """Return what is expected of one blend, or 404."""
    blend = Blend.objects.filter(pk=pk).first()
    if blend is None:
        raise Http404("There is no such blend.")
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    return _outlook(blend, today, unit, _history(today), _own())


def outlooks(today: dt.date) -> list[tuple[Blend, str, float]]:
    """Return each blend that is ordered, the sentence about it, and the mean of coming weeks."""
    history, own = _history(today), _own()
    found = []
    for blend in Blend.objects.filter(archived=False):
        if blend.pk in history:
            one = _outlook(blend, today, "kg", history, own)
            mean = sum(week.counts_kg for week in one.weeks) / len(one.weeks)
            found.append((blend, one.sentence, mean))
    return found


def expected_kg(today: dt.date, weeks: int = AHEAD_WEEKS) -> dict[int, tuple[float, ...]]:
    """Return what counts of each blend for the coming weeks, from the week of ``today`` on."""
    history, own = _history(today, weeks), _own()
    return {
        blend.pk: tuple(
            w.counts_kg for w in _outlook(blend, today, "kg", history, own, weeks).weeks
        )
        for blend in Blend.objects.filter(archived=False, pk__in=list(history))
    }


def _history(today: dt.date, weeks: int = AHEAD_WEEKS) -> dict[int, dict[dt.date, int]]:
    """Grams by blend and Monday, from two years back to what is ordered ahead."""
    first = monday(today) - dt.timedelta(weeks=_BACK_WEEKS)
    return queries.demand_by_week(first, monday(today) + dt.timedelta(weeks=weeks))


def _own() -> dict[tuple[int, dt.date], int]:
    return {
        (row.blend_id, row.week): row.mass_g for row in Expectation.objects.select_related("blend")
    }


def _outlook(
    blend: Blend,
    today: dt.date,
    unit: MassUnit,
    history: dict[int, dict[dt.date, int]],
    own: dict[tuple[int, dt.date], int],
    weeks_ahead: int = AHEAD_WEEKS,
) -> BlendOutlook:
    this = monday(today)
    of = history.get(blend.pk, {})
    past = sorted(week for week in of if week < this)
    # Weeks between the first order and now without any order are weeks of nothing.
    weeks = _mondays(past[0], this) if past else []
    series = tuple(of.get(week, 0) / 1000 for week in weeks)
    ahead = _kept(series, weeks_ahead)
    coming = _mondays(this, this + dt.timedelta(weeks=weeks_ahead))
    rows = tuple(
        _week(week, n, ahead, of.get(week, 0), own.get((blend.pk, week)), unit)
        for n, week in enumerate(coming)
    )
    return BlendOutlook(
        blend=blend,
        sentence=_sentence(blend, ahead, rows, unit),
        note=f"Worked out as {ahead.method}.",
        chart=_chart(weeks, series, coming, ahead) if weeks else None,
        weeks=rows,
    )


def _mondays(first: dt.date, before: dt.date) -> list[dt.date]:
    return [first + dt.timedelta(weeks=n) for n in range((before - first).days // 7)]


def _week(
    week: dt.date,
    n: int,
    ahead: Forecast,
    ordered_g: int,
    own_g: int | None,
    unit: MassUnit,
) -> Week:
    counts_g = max(round(1000 * ahead.mean[n]), ordered_g) if own_g is None else own_g
    known = ahead.high90[n] != float("inf")
    low, high = (_mass(ahead.low90[n], unit), _mass(ahead.high90[n], unit)) if known else ("", "")
    return Week(
        monday=week,
        forecast=_mass(ahead.mean[n], unit),
        range=f"{low.split()[0]} to {high}" if known else "not known yet",
        ordered=show_mass(ordered_g, unit) if ordered_g else "–",
        own="" if own_g is None else show_mass(own_g, unit),
        counts=show_mass(counts_g, unit),
        counts_kg=counts_g / 1000,
        form=ExpectForm(
            unit=unit, prefix=f"w{week.isoformat()}", initial={"week": week, "mass_g": own_g}
        ),
    )


def _mass(kg: float, unit: MassUnit) -> str:
    return show_mass(grams(f"{kg:.3f}"), unit)


def _sentence(blend: Blend, ahead: Forecast, rows: tuple[Week, ...], unit: MassUnit) -> str:
    mean = _mass(sum(row.counts_kg for row in rows) / len(rows), unit)
    few = " There are few weeks to go by." if ahead.few else ""
    return f"{blend} is expected to sell {mean} a week over the next {len(rows)} weeks.{few}"


def _chart(
    weeks: list[dt.date], series: tuple[float, ...], coming: list[dt.date], ahead: Forecast
) -> TrendChart:
    shown = list(zip(weeks, series, strict=True))[-_SHOWN_WEEKS:]
    past = TrendSeries("ordered", tuple(TrendPoint(week, value=kg) for week, kg in shown))
    known = ahead.high90[0] != float("inf")
    future = tuple(
        TrendPoint(
            week,
            value=None if known else ahead.mean[n],
            interval=Doubt(
                ahead.mean[n], ahead.low50[n], ahead.high50[n], ahead.low90[n], ahead.high90[n]
            )
            if known
            else None,
        )
        for n, week in enumerate(coming)
    )
    caption = f"Roasted kilograms a week, from {day_text(shown[0][0])}"
    return TrendChart((past, TrendSeries("forecast", future)), caption=caption, unit="kg")
