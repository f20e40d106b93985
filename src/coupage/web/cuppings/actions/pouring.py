"""A sample made and put on the table at once, or neither."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from django.db import transaction

from coupage.web.batches.models import Batch
from coupage.web.cuppings.actions.samples import make_sample, sample_of_batch
from coupage.web.cuppings.actions.setup import pour_sample
from coupage.web.cuppings.models import Cupping, Sample
from coupage.web.people.models import Person

__all__ = ["pour_batch", "pour_trial"]


@transaction.atomic
def pour_batch(
    *, cupping: Cupping, batch: Batch, cups: int, on: dt.date, by: Person, at: dt.datetime
) -> Sample:
    """Put a batch as it is on the table, in so many cups."""
    sample = sample_of_batch(batch=batch, on=on, by=by, at=at)
    pour_sample(cupping=cupping, sample=sample, cups=cups, by=by, at=at)
    return sample


@transaction.atomic
def pour_trial(
    *,
    cupping: Cupping,
    label: str,
    parts: Mapping[Batch, int],
    cups: int,
    on: dt.date,
    by: Person,
    at: dt.datetime,
) -> Sample:
    """Make a trial blend from batches and put it on the table, in so many cups."""
    sample = make_sample(label=label, parts=parts, on=on, by=by, at=at)
    pour_sample(cupping=cupping, sample=sample, cups=cups, by=by, at=at)
    return sample
