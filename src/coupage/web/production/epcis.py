"""A trace as EPCIS 2.0 events, for whoever reads the standard's language.

Roasting and blending are transformation events, green that came in and bags that left are object
events. Bags with a GTIN are named by item and lot in the GS1 Digital Link form; what has no GS1 key
gets an address below the roastery's own, or a UUID where it has none (CBV 2.0 allows private URIs
for such things).

References
----------
.. [1] GS1 EPCIS Standard 2.0 (ISO/IEC 19987:2024): 7.4.2 ObjectEvent, 7.4.6 TransformationEvent,
   7.3.3.3 QuantityElement; JSON/JSON-LD binding, section 10 (section numbers from memory).
.. [2] GS1 Core Business Vocabulary 2.0 (ISO/IEC 19988:2024): 7.1 business steps, 7.2 dispositions,
   8 identifiers (section numbers from memory).
.. [3] UN/ECE Recommendation 20: KGM, kilogram.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Iterator
from typing import Any
from urllib.parse import quote

from django.utils import timezone

from coupage.web.batches.models import Batch
from coupage.web.coffees.models import StockEntry
from coupage.web.production import queries
from coupage.web.production.gs1 import digital_link
from coupage.web.production.models import Packed, Run
from coupage.web.production.recall import Recall

__all__ = ["CONTEXT", "Names", "epcis_document"]

CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
GS1_RESOLVER = "https://id.gs1.org"
_NAMESPACE = uuid.UUID("6f2f3c3e-5a0b-5d8f-9c55-3c7d6a2e9b10")
Event = dict[str, Any]


class Names:
    """Give everything a name of its own that stays the same from document to document."""

    def __init__(self, roastery: str, base: str) -> None:
        self.roastery, self.base = roastery, base.rstrip("/")

    def of(self, kind: str, name: str) -> str:
        """Return the URI of a thing that has no GS1 key."""
        if self.base:
            return f"{self.base}/{kind}/{quote(name, safe='')}"
        return f"urn:uuid:{uuid.uuid5(_NAMESPACE, f'{self.roastery}|{kind}|{name}')}"

    def bags(self, packed: Packed) -> str:
        """Return the class of bags: item and lot, or a private name."""
        pack, lot = packed.pack, packed.run.lot_code
        if pack.gtin:
            return digital_link(GS1_RESOLVER, gtin=pack.gtin, lot=lot)
        return self.of("bags", f"{pack.blend.name} {pack.bag_g} g {lot}")

    def event(self, *what: object) -> str:
        text = "|".join([self.roastery, *map(str, what)])
        return f"urn:uuid:{uuid.uuid5(_NAMESPACE, text)}"


def epcis_document(recall: Recall, *, names: Names, at: dt.datetime) -> dict[str, Any]:
    """Write a recall as an EPCIS document.

    Parameters
    ----------
    recall
        What was traced.
    names
        Gives URIs.
    at
        When the document is made.
    """
    events = [
        *_receipts(recall, names),
        *(_roast(batch, names) for batch in recall.batches.values() if not batch.void),
        *_blends(recall, names),
        *_sent(recall, names),
    ]
    return {
        "@context": [CONTEXT],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": at.isoformat(timespec="seconds"),
        "epcisBody": {"eventList": sorted(events, key=lambda e: str(e["eventTime"]))},
    }


def _when(moment: dt.datetime) -> dict[str, str]:
    local = timezone.localtime(moment)
    offset = local.strftime("%z") or "+0000"
    return {
        "eventTime": local.isoformat(timespec="seconds"),
        "eventTimeZoneOffset": f"{offset[:3]}:{offset[3:5]}",
    }


def _day(day: dt.date) -> dict[str, str]:
    """Noon of a day: the ledger of green and dispatches know the day only."""
    return _when(timezone.make_aware(dt.datetime.combine(day, dt.time(12))))


def _kilograms(name: str, grams: float) -> dict[str, Any]:
    return {"epcClass": name, "quantity": round(grams / 1000, 3), "uom": "KGM"}


def _receipts(recall: Recall, names: Names) -> Iterator[Event]:
    rows = StockEntry.objects.filter(lot__in=list(recall.lots), kind="receipt")
    for entry in rows.select_related("lot"):
        yield {
            "type": "ObjectEvent",
            "eventID": names.event("receipt", entry.pk),
            **_day(entry.on),
            "action": "OBSERVE",
            "bizStep": "receiving",
            "disposition": "in_progress",
            "quantityList": [_kilograms(names.of("lot", entry.lot.name), entry.mass_g)],
        }


def _roast(batch: Batch, names: Names) -> Event:
    lot = batch.approach_version.approach.lot
    return {
        "type": "TransformationEvent",
        "eventID": names.event("batch", batch.pk),
        **_when(batch.roasted_at),
        "bizStep": "creating_class_instance",
        "disposition": "in_progress",
        "inputQuantityList": [_kilograms(names.of("lot", lot.name), batch.green_g)],
        "outputQuantityList": [_kilograms(names.of("batch", batch.number), batch.roasted_g or 0)],
    }


def _blends(recall: Recall, names: Names) -> Iterator[Event]:
    inputs: dict[int, list[dict[str, Any]]] = {}
    for e in recall.edges:
        if e.into_kind != "run":
            continue
        if e.kind == "batch":
            name = names.of("batch", recall.batches[e.key].number)
        else:
            name = names.of("loose", recall.runs[e.key].lot_code)
        inputs.setdefault(e.into_key, []).append(_kilograms(name, e.amount))
    outputs: dict[int, list[dict[str, Any]]] = {}
    for e in recall.edges:
        if e.into_kind == "bags":
            row = {"epcClass": names.bags(recall.packed[e.into_key]), "quantity": e.amount}
            outputs.setdefault(e.key, []).append(row)
    for key, taken in inputs.items():
        yield _blend(recall.runs[key], taken, outputs.get(key, []), names)


def _blend(
    run: Run, taken: list[dict[str, Any]], made: list[dict[str, Any]], names: Names
) -> Event:
    loose: int = getattr(run, "loose_g", 0) + getattr(run, "reused_g", 0)
    if loose or not made:
        made = [*made, _kilograms(names.of("loose", run.lot_code), loose)]
    return {
        "type": "TransformationEvent",
        "eventID": names.event("run", run.pk),
        **_when(run.made_at),
        "transformationID": names.of("run", run.lot_code),
        "bizStep": "creating_class_instance",
        "disposition": "active",
        "inputQuantityList": taken,
        "outputQuantityList": made,
        "ilmd": {
            "cbvmda:lotNumber": run.lot_code,
            "cbvmda:bestBeforeDate": run.best_before.isoformat(),
        },
    }


def _sent(recall: Recall, names: Names) -> Iterator[Event]:
    keys = list(recall.packed)
    lines: list[Any] = []
    for begin in range(0, len(keys), 10_000):
        some = keys[begin : begin + 10_000]
        lines.extend(queries.sent_lines().filter(packed__in=some, dispatch__void=False))
    by_dispatch: dict[int, list[Any]] = {}
    for line in lines:
        by_dispatch.setdefault(line.dispatch_id, []).append(line)
    for found in by_dispatch.values():
        yield _shipping(found, names)
        for line in found:
            yield from _returns(line, names)


def _shipping(lines: list[Any], names: Names) -> Event:
    dispatch = lines[0].dispatch
    return {
        "type": "ObjectEvent",
        "eventID": names.event("dispatch", dispatch.pk),
        **_day(dispatch.on),
        "action": "OBSERVE",
        "bizStep": "shipping",
        "disposition": "in_transit",
        "quantityList": [
            {"epcClass": names.bags(line.packed), "quantity": line.sent} for line in lines
        ],
        "bizTransactionList": [
            {"type": "desadv", "bizTransaction": names.of("dispatch", str(dispatch.pk))}
        ],
        "destinationList": [
            {"type": "owning_party", "destination": names.of("customer", dispatch.customer.name)}
        ],
    }


def _returns(line: Any, names: Names) -> Iterable[Event]:
    if not line.returned:
        return
    for entry in line.entries.filter(kind="returned"):
        yield {
            "type": "ObjectEvent",
            "eventID": names.event("return", entry.pk),
            **_day(entry.on),
            "action": "OBSERVE",
            "bizStep": "receiving",
            "disposition": "returned",
            "quantityList": [{"epcClass": names.bags(line.packed), "quantity": entry.bags}],
            "sourceList": [
                {
                    "type": "owning_party",
                    "source": names.of("customer", line.dispatch.customer.name),
                }
            ],
        }
