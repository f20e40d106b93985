"""Samples as a table: one row per part, as `coupage analyse` takes them too."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table, samples_layout
from coupage.units import PPM
from coupage.web.batches.models import Batch
from coupage.web.common.doors import numbered, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.cuppings import queries
from coupage.web.cuppings.actions.samples import make_sample
from coupage.web.cuppings.columns import component_name
from coupage.web.people.models import Person


def parts_layout() -> Layout:
    plain = {column.name: column for column in samples_layout().columns}
    return Layout(
        "samples",
        (
            plain["sample"],
            Column("batch", "text", help="Number of the roast batch."),
            plain["proportion"],
            Column(
                "component",
                "text",
                required=False,
                help="Coffee and approach; the batch tells them, so it may be left empty.",
                aliases=plain["component"].aliases,
            ),
            Column("lot", "text", required=False, help="Told by the batch, too."),
            Column("made on", "date", required=False, help="The day it was weighed; else today."),
            Column("note", "text", required=False, default=""),
        ),
        key=("sample", "batch"),
        description="Shares of each sample sum to 100 %; one batch as it is is one row of 100 %.",
    )


def _ppm(row: dict[str, object]) -> int:
    return int((Decimal(str(row["proportion"])) * PPM).to_integral_value())


def _grouped(table: Table) -> dict[str, list[tuple[int, dict[str, object]]]]:
    found: dict[str, list[tuple[int, dict[str, object]]]] = {}
    for number, row in numbered(table):
        found.setdefault(str(row["sample"]), []).append((number, row))
    return found


def _known() -> dict[str, dict[str, int]]:
    return {
        sample.label: {part.batch.number: part.share_ppm for part in sample.parts.all()}
        for sample in queries.samples()
    }


def _batches() -> dict[str, Batch]:
    batches = Batch.objects.select_related("approach_version__approach__lot")
    return {batch.number: batch for batch in batches}


def _plan(table: Table) -> Plan:
    known, batches = _known(), _batches()
    problems: list[FileProblem] = []
    new = 0
    for label, rows in _grouped(table).items():
        there = known.get(label)
        new += there is None
        for number, row in rows:
            problems += _row_problems(number, row, batches)
        first, shares = rows[0][0], {str(row["batch"]): _ppm(row) for _, row in rows}
        total = sum(shares.values())
        if total != PPM:
            problems.append(
                FileProblem(
                    first,
                    "proportion",
                    f"the parts of {label} sum to {total / 10_000:g} %, not 100",
                )
            )
        elif there is not None and there != shares:
            problems.append(
                FileProblem(
                    first,
                    "sample",
                    f"{label} is known already and made otherwise; what stood on a table is not "
                    "changed, so give the new one another name",
                )
            )
        if len(label) > 80:
            problems.append(FileProblem(first, "sample", "has more than 80 letters"))
    known_rows = len(_grouped(table)) - new
    return Plan(
        (
            rows_said(new, "new sample", "new samples"),
            rows_said(known_rows, "sample is known already", "samples are known already"),
        ),
        tuple(problems),
    )


def _row_problems(
    number: int, row: dict[str, object], batches: dict[str, Batch]
) -> Iterator[FileProblem]:
    batch = batches.get(str(row["batch"]))
    if batch is None:
        yield FileProblem(number, "batch", f"there is no batch {row['batch']!r}; record it first")
        return
    if batch.void:
        yield FileProblem(number, "batch", f"batch {batch.number} is void")
    if _ppm(row) <= 0:
        yield FileProblem(number, "proportion", "must be above 0 %; leave the row out instead")
    approach = batch.approach_version.approach
    for column, told in (("component", component_name(approach)), ("lot", approach.lot.name)):
        if row[column] and str(row[column]).casefold() != told.casefold():
            yield FileProblem(
                number, column, f"batch {batch.number} is {told}; mend one of the two"
            )


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    known, batches = _known(), _batches()
    made = 0
    for label, rows in _grouped(table).items():
        if label in known:
            continue
        first = rows[0][1]
        on = first["made on"]
        make_sample(
            label=label,
            parts={batches[str(row["batch"])]: _ppm(row) for _, row in rows},
            on=on if isinstance(on, dt.date) else at.date(),
            note=str(first["note"]),
            by=by,
            at=at,
        )
        made += 1
    return f"{rows_said(made, 'new sample is', 'new samples are')} in."


def sample_rows() -> Iterator[dict[str, object]]:
    for sample in queries.samples().filter(sealed=True).order_by("made_on", "label"):
        for part in sample.parts.all():
            approach = part.batch.approach_version.approach
            yield {
                "sample": sample.label,
                "batch": part.batch.number,
                "proportion": Decimal(part.share_ppm) / PPM,
                "component": component_name(approach),
                "lot": approach.lot.name,
                "made on": sample.made_on,
                "note": sample.note,
            }


SAMPLES = Exchange("samples", "Import samples", parts_layout, _plan, _apply, "cuppings:samples")
