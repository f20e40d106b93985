"""The wall: a big screen that follows the clock, and unfolds the table sample by sample."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass

from django.http import HttpRequest

from coupage.panel import JudgedSamples
from coupage.web.common.charts import ProfileChart, ProfileRow
from coupage.web.common.drawing import Doubt
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.columns import sample_name
from coupage.web.cuppings.judging import judge_table
from coupage.web.cuppings.models import Attribute, Cupping
from coupage.web.cuppings.pages.result import result_page
from coupage.web.cuppings.pages.revealed import ResultSample, revealed_samples
from coupage.web.cuppings.pages.table import matrix_of
from coupage.web.live import joining
from coupage.web.live.models import FaultMark, JoinCode
from coupage.web.live.pages.sheet import clock_data, millis
from coupage.web.live.seats import KIND

__all__ = ["WallPage", "WallSample", "wall_page"]


@dataclass(frozen=True, slots=True)
class WallSample:
    """One sample: its codes first, what was said of it, and last what it was."""

    codes: str
    name: str
    made_of: str
    words: tuple[tuple[str, int, str], ...]
    faults: str
    picture: ProfileChart | None


@dataclass(frozen=True, slots=True)
class Progress:
    """How far one taster is; nothing of what they rated."""

    name: str
    filled: int
    most: int


@dataclass(frozen=True, slots=True)
class WallPage:
    table: Cupping
    revealed: bool
    clock: str
    now: int
    invitation: joining.Invitation | None
    progress: tuple[Progress, ...]
    samples: tuple[WallSample, ...]
    sentence: str
    verdict: str
    detail: str


def wall_page(request: HttpRequest, table: Cupping, at: dt.datetime) -> WallPage:
    """Return the wall of a table: blind until the reveal."""
    revealed = table.state == Cupping.State.REVEALED and not table.void
    code = JoinCode.objects.filter(kind=KIND, key=table.pk, revoked_at=None).first()
    result = result_page(table, ("", "")) if revealed else None
    return WallPage(
        table=table,
        revealed=revealed,
        clock=json.dumps(clock_data(table, at)),
        now=millis(at),
        invitation=joining.invitation(request, code) if code and not revealed else None,
        progress=()
        if revealed
        else tuple(
            Progress(row.seat.taster.name, row.filled, row.most) for row in matrix_of(table)
        ),
        samples=_samples(table) if revealed else (),
        sentence=result.sentence if result else "",
        verdict=result.verdict if result else "",
        detail=result.detail if result else "",
    )


def _samples(table: Cupping) -> tuple[WallSample, ...]:
    samples = revealed_samples(table)
    attributes = [entry.attribute for entry in table.asked.select_related("attribute")]
    judged = _judged(table, samples, attributes)
    faults: dict[int, set[str]] = {}
    marks = FaultMark.objects.filter(cup__cupping=table).values_list(
        "cup__sample", "cup__code", "seat__taster__name"
    )
    for sample, code, name in marks:
        faults.setdefault(sample, set()).add(f"{code} by {name}")
    return tuple(
        WallSample(
            codes=sample.codes,
            name=sample.name,
            made_of=sample.made_of,
            words=sample.words,
            faults=", ".join(sorted(faults.get(sample.sample.pk, ()))),
            picture=_picture(judged, sample_name(table.pk, sample.name), attributes),
        )
        for sample in samples
    )


def _judged(
    table: Cupping, samples: list[ResultSample], attributes: list[Attribute]
) -> JudgedSamples:
    beliefs = beliefs_now()
    if beliefs is None:
        return JudgedSamples({}, {})
    return judge_table(
        beliefs,
        [sample_name(table.pk, sample.name) for sample in samples],
        {a.name: float(a.tolerance) for a in attributes},
        [a.name for a in attributes if a.kind == Attribute.Kind.INTENSITY],
    )


def _picture(judged: JudgedSamples, name: str, attributes: list[Attribute]) -> ProfileChart | None:
    profile = judged.profiles.get(name)
    if profile is None:
        return None
    rows = [
        ProfileRow(
            a.name.capitalize(),
            (Doubt(b.mean, b.low50, b.high50, b.low90, b.high90),),
        )
        for a in attributes
        if (b := profile.get(a.name)) is not None
    ]
    return ProfileChart(rows) if rows else None
