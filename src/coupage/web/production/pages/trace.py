"""The page of a trace: the answer, the picture, who has it, what is here."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

from django.urls import reverse
from django.utils.safestring import SafeString

from coupage.units import MassUnit, show_mass
from coupage.web.production.graph import Node, draw_layers, fold, order_layers
from coupage.web.production.recall import Here, Recall, Received, days_text, recall_of

__all__ = ["TracePage", "trace_page"]

MOST_BOXES = 12
MOST_ROWS = 200

TITLES = {"lot": "Green lots", "batch": "Batches", "run": "Lots of bags", "bags": "Bags"}


@dataclass(frozen=True, slots=True)
class TracePage:
    recall: Recall
    sentence: str
    note: str
    picture: SafeString | None
    received: tuple[Received, ...]
    more_received: int
    here: tuple[Here, ...]
    more_here: int
    way: tuple[tuple[str, str, str, str], ...]
    more_way: int
    can_hold: int


def trace_page(kind: str, key: int, unit: MassUnit) -> TracePage:
    """Return the page of a trace, or 404."""
    recall = recall_of(kind, key)
    way = _way(recall, unit)
    return TracePage(
        recall=recall,
        sentence=_sentence(recall, unit),
        note=_note(recall),
        picture=_picture(recall),
        received=recall.received[:MOST_ROWS],
        more_received=max(0, len(recall.received) - MOST_ROWS),
        here=recall.here[:MOST_ROWS],
        more_here=max(0, len(recall.here) - MOST_ROWS),
        way=tuple(way[:MOST_ROWS]),
        more_way=max(0, len(way) - MOST_ROWS),
        can_hold=sum(not run.held and run.state != "void" for run in recall.later_runs),
    )


def _sentence(recall: Recall, unit: MassUnit) -> str:
    here = show_mass(recall.grams_here, unit)
    if not recall.received:
        return f"Nothing of it has left: {here} are here."
    who = f"{recall.receivers} {'customer' if recall.receivers == 1 else 'customers'}"
    bags = f"{recall.bags_out} {'bag' if recall.bags_out == 1 else 'bags'}"
    out = show_mass(recall.grams_out, unit)
    return f"{bags} with it, {out}, are with {who}; {here} are still here."


def _note(recall: Recall) -> str:
    names = sorted(lot.name for lot in recall.lots.values())
    if recall.kind != "run" or not names:
        return ""
    return f"In it: {', '.join(names)}."


def _picture(recall: Recall) -> SafeString | None:
    if not recall.edges:
        return None
    edges: dict[tuple[Hashable, Hashable], int] = {
        ((e.kind, e.key), (e.into_kind, e.into_key)): e.amount for e in recall.edges
    }
    nodes = _nodes(recall)
    columns, headings = _columns(recall)
    kept, joined, folded = fold(columns, edges, MOST_BOXES)
    boxes: dict[Hashable, Node] = {**nodes}
    boxes |= {name: Node(f"{count} more", "in the table below") for name, count in folded.items()}
    layers = order_layers(kept, joined)
    return draw_layers(
        layers,
        joined,
        boxes,
        headings=headings,
        label=f"The way from green to receivers of {recall.name}; the tables below say the same.",
    )


def _columns(recall: Recall) -> tuple[list[list[Hashable]], list[str]]:
    """Sort boxes into columns; a run that took the rest of another stands to its right."""
    there = {(e.kind, e.key) for e in recall.edges}
    there |= {(e.into_kind, e.into_key) for e in recall.edges}
    depth: dict[int, int] = {}
    rests = [(e.key, e.into_key) for e in recall.edges if e.kind == e.into_kind == "run"]
    for key in sorted(key for kind, key in there if kind == "run"):
        before = [depth.get(a, 0) for a, b in rests if b == key]
        depth[key] = min(3, max(before, default=-1) + 1)
    columns: list[list[Hashable]] = []
    headings: list[str] = []
    for kind in ("lot", "batch", "run", "bags", "customer"):
        found = sorted(key for of, key in there if of == kind)
        levels = sorted({depth.get(key, 0) for key in found}) if kind == "run" else [0]
        for level in levels if found else []:
            columns.append(
                [(kind, key) for key in found if kind != "run" or depth.get(key, 0) == level]
            )
            headings.append(
                "With what was left" if kind == "run" and level else TITLES.get(kind, "Customers")
            )
    return columns, headings


def _nodes(recall: Recall) -> dict[Hashable, Node]:
    nodes: dict[Hashable, Node] = {}
    for lot in recall.lots.values():
        url = reverse("coffees:lot", args=[lot.pk])
        nodes["lot", lot.pk] = Node(lot.name, lot.origin, "of-lot", url)
    for batch in recall.batches.values():
        url = reverse("batches:batch", args=[batch.pk])
        tone = "held" if batch.verdict == "hold" else "of-batch"
        nodes["batch", batch.pk] = Node(
            batch.number, batch.approach_version.approach.name, tone, url
        )
    for run in recall.runs.values():
        url = reverse("production:run", args=[run.pk])
        tone = "held" if run.held else "of-run"
        nodes["run", run.pk] = Node(run.lot_code, run.recipe.blend.name, tone, url)
    for row in recall.packed.values():
        url = reverse("production:bags", args=[row.pk])
        left = f"{getattr(row, 'on_hand', 0)} of {getattr(row, 'made', 0)} here"
        nodes["bags", row.pk] = Node(row.pack.size, left, "of-bags", url)
    bags: dict[int, int] = {}
    for received in recall.received:
        pk = received.customer.pk
        bags[pk] = bags.get(pk, 0) + received.bags
    for pk, customer in recall.customers.items():
        nodes["customer", pk] = Node(customer.name, f"{bags.get(pk, 0)} bags", "of-customer")
    return nodes


def _way(recall: Recall, unit: MassUnit) -> list[tuple[str, str, str, str]]:
    order = {"lot": 0, "batch": 1, "run": 2, "bags": 3}
    rows = []
    for e in sorted(recall.edges, key=lambda e: (order[e.kind], e.key, e.into_key)):
        how_much = (
            f"{e.amount} bags"
            if e.into_kind in {"bags", "customer"}
            else show_mass(e.amount, unit, 3)
        )
        rows.append(
            (
                _name(recall, e.kind, e.key),
                _name(recall, e.into_kind, e.into_key),
                how_much,
                days_text(e.first, e.last),
            )
        )
    return rows


def _name(recall: Recall, kind: str, key: int) -> str:
    if kind == "lot":
        return recall.lots[key].name
    if kind == "batch":
        return str(recall.batches[key])
    if kind == "run":
        return str(recall.runs[key])
    if kind == "bags":
        return str(recall.packed[key])
    return str(recall.customers[key])
