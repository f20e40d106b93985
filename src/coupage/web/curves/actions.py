"""Writes about curves, one transaction each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import PurePath

from django.db import transaction

from coupage.errors import FileError, InputError
from coupage.roast import clean_curve
from coupage.web.batches.models import Batch, Machine
from coupage.web.common.revisions import take_revision
from coupage.web.curves import packing, queries, reading
from coupage.web.curves.models import (
    FileColumns,
    PhaseMark,
    Probe,
    ReferenceCurve,
    RoastCurve,
)
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "Taken",
    "UnknownColumnsError",
    "choose_reference",
    "end_reference",
    "set_probe",
    "settle_columns",
    "take_in",
    "void_curve",
]

PROBE_FIELDS = ("align", "band_c", "smoothing_s", "skip_s")
COLUMN_FIELDS = ("time_column", "time_unit", "bean_column", "fahrenheit")


class UnknownColumnsError(InputError):
    """A file whose columns nobody has named yet; ``columns`` waits for that."""

    def __init__(self, columns: FileColumns) -> None:
        headings = ", ".join(repr(h) for h in columns.headings[:6] if h)
        super().__init__(
            f"its columns are new ({headings}); say which holds the time and which the bean "
            "temperature, and take it in again"
        )
        self.columns = columns


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a file: ``said`` finishes "R-118.csv: ..."."""

    curve: RoastCurve
    said: str


def take_in(
    *,
    filename: str,
    data: bytes,
    by: Person,
    at: dt.datetime,
    batch: Batch | None = None,
    replace: bool = False,
) -> Taken:
    """Take a logged file in for the batch whose number is in its name.

    Parameters
    ----------
    batch
        The batch, where it is known without the name.
    replace
        Whether a curve that is there already gives way.

    Raises
    ------
    UnknownColumnsError
        When its headings were never met and do not speak for themselves.
    InputError
        When the file cannot be read or used, or its batch is not found; says how to mend it.
    """
    log = _log(data, filename)
    columns = _columns_of(log)
    seconds, degrees = reading.readings_of(log, columns)
    target = batch or _batch_named(filename)
    return _save(target, filename, packing.pack(seconds, degrees), by=by, at=at, replace=replace)


def _log(data: bytes, filename: str) -> reading.LogFile:
    try:
        return reading.read_log(data, filename)
    except FileError as error:
        problem = error.problems[0]
        where = f"row {problem.row} " if problem.row else "it "
        raise InputError(f"{where}{problem.message}") from error


def _columns_of(log: reading.LogFile) -> reading.Guess:
    """Return the remembered columns of such files, remembering plain ones by themselves."""
    signature = reading.signature_of(log.headings)
    known = FileColumns.objects.filter(signature=signature).first()
    if known is None:
        guess = reading.guess_columns(log)
        known, _ = FileColumns.objects.get_or_create(
            signature=signature,
            defaults={
                "headings": list(log.headings),
                "preview": log.preview(),
                "first_file": PurePath(log.filename).name[-120:],
                "settled": guess is not None,
                "time_column": guess.time if guess else "",
                "time_unit": guess.time_unit if guess else "s",
                "bean_column": guess.bean if guess else "",
                "fahrenheit": guess.fahrenheit if guess else False,
            },
        )
    if not known.settled:
        raise UnknownColumnsError(known)
    # Headings match by their letters, not by capitals and spaces, so they are found by place.
    named = dict(zip(known.headings, log.headings, strict=True))
    return reading.Guess(
        named.get(known.time_column, known.time_column),
        known.time_unit,
        named.get(known.bean_column, known.bean_column),
        known.fahrenheit,
    )


def _batch_named(filename: str) -> Batch:
    found = queries.batch_of(filename)
    if not found:
        raise InputError(
            "no batch of that number is known; name the file by the number of its batch, such as "
            "R-118.csv, or take it in from the batch's own page"
        )
    if len(found) > 1:
        numbers = " and ".join(b.number for b in found)
        raise InputError(f"its name fits {numbers}; leave one number in it")
    return found[0]


@transaction.atomic
def _save(
    batch: Batch, filename: str, packed: bytes, *, by: Person, at: dt.datetime, replace: bool
) -> Taken:
    seconds, degrees = packing.unpack(packed)
    cleaned = clean_curve({"seconds": seconds, "bean_temperature": degrees})
    digest = packing.digest(packed)
    there = RoastCurve.objects.filter(batch=batch).first()
    if there is not None and not there.void:
        if there.digest == digest:
            return Taken(there, f"the very curve of {batch.number} is in already")
        if not replace:
            raise InputError(
                f"{batch.number} has a curve already, from {there.filename}; tick 'replace' if "
                "this one is right"
            )
    finite = cleaned.temperature[cleaned.temperature == cleaned.temperature]
    values = {
        "readings": packed,
        "digest": digest,
        "filename": PurePath(filename).name[-120:],
        "count": int(seconds.size),
        "duration_s": max(1, round(float(cleaned.seconds[-1]))),
        "drop_c": Decimal(f"{finite[-1]:.1f}"),
        "turning_point_s": None
        if cleaned.turning_point is None
        else max(0, round(cleaned.turning_point)),
        "spikes": cleaned.spikes,
        "gap_s": round(sum(end - start for start, end in cleaned.gaps)),
        "taken_in_at": at,
        "by": by,
        "void": False,
    }
    curve, made = RoastCurve.objects.update_or_create(batch=batch, defaults=values)
    history.record(
        batch,
        verb="took in the curve of" if made else "replaced the curve of",
        by=by,
        at=at,
        note=curve.filename,
        before={} if there is None else {"curve": there.filename},
        after={"curve": curve.filename},
    )
    lost = [
        f"{curve.spikes} jumps left out" if curve.spikes else "",
        f"{curve.gap_s} s without readings" if curve.gap_s else "",
    ]
    more = "; ".join(part for part in lost if part)
    return Taken(curve, f"is the curve of {batch.number}{f' ({more})' if more else ''}")


@transaction.atomic
def settle_columns(
    *, columns: FileColumns, revision: int, by: Person, at: dt.datetime
) -> FileColumns:
    """Remember which columns of such files hold time and bean temperature.

    Raises
    ------
    StaleError
        When somebody else has named them meanwhile.
    """
    before = history.snapshot(FileColumns.objects.get(pk=columns.pk), COLUMN_FIELDS)
    take_revision(FileColumns, columns.pk, revision)
    columns.settled = True
    columns.full_clean(validate_constraints=True)
    columns.save(update_fields=[*COLUMN_FIELDS, "settled"])
    after = history.snapshot(columns, COLUMN_FIELDS)
    history.record(columns, verb="named the", by=by, at=at, before=before, after=after)
    return columns


@transaction.atomic
def set_probe(
    *,
    probe: Probe,
    marks: Mapping[str, Decimal],
    revision: int,
    by: Person,
    at: dt.datetime,
) -> Probe:
    """Say how curves of a machine are looked at, and where its phases end.

    Raises
    ------
    InputError
        When somebody else saved it meanwhile (a StaleError), or two marks are out of order.
    """
    machine: Machine = probe.machine
    there = Probe.objects.filter(machine=machine).first()
    before = history.snapshot(there, PROBE_FIELDS) if there else {}
    if there is None:
        probe.full_clean()
        probe.save()
    else:
        take_revision(Probe, there.pk, revision)
        probe.pk = there.pk
        probe.full_clean()
        probe.save(update_fields=PROBE_FIELDS)
    old = {mark.name: str(mark.temperature_c) for mark in probe.marks.all()}
    probe.marks.all().delete()
    PhaseMark.objects.bulk_create(
        PhaseMark(probe=probe, name=name, temperature_c=degrees) for name, degrees in marks.items()
    )
    new = {name: f"{degrees:.1f}" for name, degrees in marks.items()}
    history.record(
        machine,
        verb="set the curves of",
        by=by,
        at=at,
        before=before | {"phases": old},
        after=history.snapshot(probe, PROBE_FIELDS) | {"phases": new},
    )
    return probe


@transaction.atomic
def choose_reference(
    *, curve: RoastCurve, reason: str, by: Person, at: dt.datetime
) -> ReferenceCurve:
    """Hold other roasts of this approach on this machine against a curve, from now on.

    Raises
    ------
    InputError
        When no reason is given, the curve is void, or it is the reference already.
    """
    if not reason.strip():
        raise InputError("say why this curve; whoever reads a comparison later wants to know")
    if curve.void:
        raise InputError(f"{curve} is void; take that back first")
    approach, machine = curve.batch.approach_version.approach, curve.batch.machine
    now = ReferenceCurve.objects.select_for_update().filter(
        approach=approach, machine=machine, ended_at__isnull=True
    )
    if now.filter(curve=curve).exists():
        raise InputError(f"{curve} is the reference already")
    now.update(ended_at=at)
    chosen = ReferenceCurve.objects.create(
        approach=approach, machine=machine, curve=curve, reason=reason.strip(), by=by, at=at
    )
    history.record(
        approach,
        verb="chose the reference curve of",
        by=by,
        at=at,
        note=reason.strip(),
        after={"curve": curve.batch.number, "machine": str(machine or "")},
    )
    return chosen


@transaction.atomic
def end_reference(*, reference: ReferenceCurve, by: Person, at: dt.datetime) -> None:
    """Stop holding roasts against a single curve; the band of released ones takes its place."""
    waiting = ReferenceCurve.objects.filter(pk=reference.pk, ended_at__isnull=True)
    if not waiting.update(ended_at=at):
        raise InputError("it is no longer the reference")
    history.record(
        reference.approach,
        verb="ended the reference curve of",
        by=by,
        at=at,
        before={"curve": reference.curve.batch.number},
    )


@transaction.atomic
def void_curve(*, curve: RoastCurve, void: bool, by: Person, at: dt.datetime) -> None:
    """Take a curve out of every comparison, or put it back; nothing is deleted."""
    if not RoastCurve.objects.filter(pk=curve.pk, void=not void).update(void=void):
        raise InputError(f"{curve} is {'void' if void else 'valid'} already")
    verb = "voided the curve of" if void else "made valid again the curve of"
    history.record(curve.batch, verb=verb, by=by, at=at)
