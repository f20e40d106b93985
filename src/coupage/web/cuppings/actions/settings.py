"""Writes about what every table draws on: attributes, protocols, tasters."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db import transaction

from coupage.web.cuppings.models import Attribute, Protocol, ProtocolStep, Taster
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "add_attribute",
    "add_protocol",
    "add_taster",
    "change_attribute",
    "change_protocol",
    "change_taster",
]

ATTRIBUTE_FIELDS = (
    "name",
    "kind",
    "low_word",
    "high_word",
    "tolerance",
    "order",
    "standard",
    "archived",
)
PROTOCOL_FIELDS = (
    "name",
    "dose_mg",
    "water_g",
    "water_c",
    "cups_per_sample",
    "passes",
    "source",
)


# --- attributes ----------------------------------------------------------------------------------


@transaction.atomic
def add_attribute(*, attribute: Attribute, by: Person, at: dt.datetime) -> Attribute:
    """Save a new attribute."""
    attribute.full_clean()
    attribute.save()
    after = history.snapshot(attribute, ATTRIBUTE_FIELDS)
    history.record(attribute, verb="added", by=by, at=at, after=after)
    return attribute


@transaction.atomic
def change_attribute(*, attribute: Attribute, by: Person, at: dt.datetime) -> Attribute:
    """Save an attribute's changed fields; verdicts follow its tolerance from now on."""
    before = history.snapshot(Attribute.objects.get(pk=attribute.pk), ATTRIBUTE_FIELDS)
    attribute.full_clean()
    attribute.save()
    after = history.snapshot(attribute, ATTRIBUTE_FIELDS)
    history.record(attribute, verb="changed", by=by, at=at, before=before, after=after)
    return attribute


# --- protocols -----------------------------------------------------------------------------------


@transaction.atomic
def add_protocol(
    *, protocol: Protocol, steps: Sequence[ProtocolStep], by: Person, at: dt.datetime
) -> Protocol:
    """Save a new protocol with its steps."""
    protocol.full_clean()
    protocol.save()
    _write_steps(protocol, steps)
    after = history.snapshot(protocol, PROTOCOL_FIELDS)
    history.record(protocol, verb="added", by=by, at=at, after=after)
    return protocol


@transaction.atomic
def change_protocol(
    *, protocol: Protocol, steps: Sequence[ProtocolStep], by: Person, at: dt.datetime
) -> Protocol:
    """Save a protocol's changed fields and steps; tables set up before keep their passes."""
    before = history.snapshot(Protocol.objects.get(pk=protocol.pk), PROTOCOL_FIELDS)
    protocol.full_clean()
    protocol.save()
    protocol.steps.all().delete()
    _write_steps(protocol, steps)
    after = history.snapshot(protocol, PROTOCOL_FIELDS)
    history.record(protocol, verb="changed", by=by, at=at, before=before, after=after)
    return protocol


def _write_steps(protocol: Protocol, steps: Sequence[ProtocolStep]) -> None:
    for order, step in enumerate(steps, start=1):
        step.pk, step.protocol, step.order = None, protocol, order
        step.full_clean()
        step.save()


# --- tasters -------------------------------------------------------------------------------------


@transaction.atomic
def add_taster(*, taster: Taster, by: Person | None, at: dt.datetime) -> Taster:
    """Save a new taster, a guest or somebody with an account."""
    taster.full_clean()
    taster.save()
    after = history.snapshot(taster, ("name", "person"))
    history.record(taster, verb="added", by=by, at=at, after=after)
    return taster


@transaction.atomic
def change_taster(*, taster: Taster, by: Person, at: dt.datetime) -> Taster:
    """Give a taster another name or account."""
    fields = ("name", "person")
    before = history.snapshot(Taster.objects.get(pk=taster.pk), fields)
    taster.full_clean()
    taster.save(update_fields=fields)
    after = history.snapshot(taster, fields)
    history.record(taster, verb="changed", by=by, at=at, before=before, after=after)
    return taster
