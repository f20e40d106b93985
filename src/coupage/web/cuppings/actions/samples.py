"""Writes about samples: one batch as it is, or a trial blend weighed from several."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from django.db import transaction

from coupage.errors import InputError
from coupage.units import PPM
from coupage.web.batches.models import Batch
from coupage.web.cuppings.models import Part, Sample
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["make_sample", "sample_of_batch"]


@transaction.atomic
def make_sample(
    *,
    label: str,
    parts: Mapping[Batch, int],
    on: dt.date,
    by: Person,
    at: dt.datetime,
    note: str = "",
) -> Sample:
    """Make a sample from batches and their shares in parts per million.

    Raises
    ------
    InputError
        When the shares do not add up to 100 %, or a batch is void or not weighed out.
    """
    total = sum(parts.values())
    if total != PPM or min(parts.values(), default=0) <= 0:
        raise InputError(
            f"the shares add up to {total / 10_000:g} %; give each batch a share above 0 %, "
            "100 % together"
        )
    for batch in parts:
        if batch.void:
            raise InputError(f"{batch} is void; take that back, or choose another batch")
    kind = Sample.Kind.BATCH if len(parts) == 1 else Sample.Kind.TRIAL
    sample = Sample(label=label, kind=kind, made_on=on, note=note)
    sample.full_clean()
    sample.save()
    Part.objects.bulk_create(
        Part(sample=sample, batch=batch, share_ppm=share) for batch, share in parts.items()
    )
    # By update, so that the database adds up the shares.
    Sample.objects.filter(pk=sample.pk).update(sealed=True)
    sample.sealed = True
    made_of = {str(batch): share / 10_000 for batch, share in parts.items()}
    history.record(sample, verb="made", by=by, at=at, after=made_of)
    return sample


@transaction.atomic
def sample_of_batch(*, batch: Batch, on: dt.date, by: Person, at: dt.datetime) -> Sample:
    """Return the sample that is this batch as it is, pulled on that day; make it when needed."""
    pulled = (
        Sample.objects.filter(
            kind=Sample.Kind.BATCH, made_on=on, sealed=True, archived=False, parts__batch=batch
        )
        .order_by("id")
        .first()
    )
    if pulled is not None:
        return pulled
    approach = batch.approach_version.approach
    name = f"{approach}, {batch.number}"[:70]
    label, n = name, 2
    while Sample.objects.filter(label=label).exists():
        label = f"{name} ({n})"
        n += 1
    return make_sample(label=label, parts={batch: PPM}, on=on, by=by, at=at)
