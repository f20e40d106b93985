"""From bag to lots and from lot to bags, against a general graph library."""

from __future__ import annotations

import datetime as dt
import random

import networkx as nx
import pytest
from django.db import transaction

from coupage.web.batches.models import Batch
from coupage.web.people.models import Person
from coupage.web.production import actions
from coupage.web.production.models import BagEntry, BlendedEntry, DispatchLine, Run
from coupage.web.production.trace import Edge, runs_into, trace
from tests.web import things
from tests.web.production import making
from tests.web.production.making import TODAY

pytestmark = pytest.mark.django_db


def graph_of_everything() -> nx.DiGraph:
    """The whole history as a graph, read row by row, with what is in each edge."""
    graph: nx.DiGraph = nx.DiGraph()

    def add(a: tuple[str, int], b: tuple[str, int], amount: int) -> None:
        old = graph.get_edge_data(a, b, {"amount": 0})["amount"]
        graph.add_edge(a, b, amount=old + amount)

    for batch in Batch.objects.select_related("approach_version__approach"):
        if not batch.void:
            lot = batch.approach_version.approach.lot_id
            add(("lot", lot), ("batch", batch.pk), batch.green_g)
    for entry in BlendedEntry.objects.filter(part__isnull=False).select_related("part"):
        part = entry.part
        source = ("batch", part.batch_id) if part.batch_id else ("run", part.source_id)
        add(source, ("run", part.run_id), entry.mass_g)
    for entry in BagEntry.objects.select_related("packed"):
        if entry.kind in {"packed", "unpacked"}:
            add(("run", entry.packed.run_id), ("bags", entry.packed_id), entry.bags)
    for line in DispatchLine.objects.select_related("dispatch").prefetch_related("entries"):
        out = -sum(entry.bags for entry in line.entries.all())
        add(("bags", line.packed_id), ("customer", line.dispatch.customer_id), out)
    gone = [(a, b) for a, b, amount in graph.edges(data="amount") if amount <= 0]
    graph.remove_edges_from(gone)
    return graph


def expected(graph: nx.DiGraph, start: tuple[str, int]) -> set[Edge]:
    if start not in graph:
        return set()
    down = nx.descendants(graph, start) | {start}
    keep = {(a, b) for a, b in graph.edges if a in down}
    if start[0] == "run":
        up = nx.ancestors(graph, start) | {start}
        keep |= {(a, b) for a, b in graph.edges if b in up}
    if start[0] == "batch":
        keep |= set(graph.in_edges(start))
    return {Edge(*a, *b, graph.edges[a, b]["amount"]) for a, b in keep}


def history(seed: int, by: Person) -> None:
    """Some weeks of a small roastery, drawn at random; rests go on, bags come back."""
    rng = random.Random(seed)
    recipe = making.recipe(100)
    batches = [
        things.batch(approach_version=things.approach_version(lot=lot, name=f"way {n}"))
        for lot in [things.lot() for _ in range(3)]
        for n in range(rng.randint(1, 3))
    ]
    counters = [making.customer() for _ in range(3)]
    runs: list[Run] = []
    left: dict[Run, int] = {}
    for _ in range(rng.randint(3, 8)):
        sources: dict[Batch | Run, int] = dict.fromkeys(rng.sample(batches, rng.randint(1, 2)), 400)
        rests = [run for run in runs if left[run] >= 200]
        sources |= dict.fromkeys(rng.sample(rests, min(len(rests), rng.randint(0, 2))), 200)
        for source in sources:
            if isinstance(source, Run):
                left[source] -= 200
        run = making.run(sources, of=recipe, by=by)
        runs.append(run)
        left[run] = sum(sources.values())
        for bag_g in rng.sample([50, 100], rng.randint(0, 2)):
            row = making.packed(run, 2, bag_g, by=by)
            left[run] -= 2 * bag_g
            if rng.random() < 0.7:
                line = making.sent(rng.choice(counters), {row: rng.randint(1, 2)}, by).lines.get()
                if rng.random() < 0.4:
                    actions.receive_return(
                        line=line, bags=1, reason="test", on=TODAY, by=by, at=things.NOW
                    )
            elif rng.random() < 0.3:
                actions.enter_bags(
                    packed=row, kind="unpacked", bags=2, on=TODAY, by=by, at=things.NOW
                )
                left[run] += 2 * bag_g
    if rng.random() < 0.5 and not runs[-1].packed.exists():
        actions.void_run(run=runs[-1], reason="test", on=TODAY, by=by, at=things.NOW)


@pytest.mark.parametrize("seed", range(6))
def test_every_walk_is_what_a_graph_library_walks(seed: int, roaster: Person) -> None:
    with transaction.atomic():
        history(seed, roaster)
    graph = graph_of_everything()
    assert nx.is_directed_acyclic_graph(graph)
    starts = [node for node in graph if node[0] in {"lot", "batch", "run"}]
    assert len(starts) > 5
    for kind, key in starts:
        found = trace(kind, key)
        assert len(found) == len(set(found))
        assert set(found) == expected(graph, (kind, key)), (kind, key)
    for kind, key in (node for node in graph if node[0] == "run"):
        above = {k for other, k in nx.ancestors(graph, (kind, key)) if other == "run"}
        assert set(runs_into(key)) >= above | {key}


def test_a_trace_is_one_statement(roaster: Person, django_assert_num_queries: object) -> None:
    recipe = making.recipe(100)
    run = making.run({making.batch_of(recipe): 4_000}, of=recipe)
    for _ in range(4):
        run = making.run({run: 2_000 // 2, making.batch_of(recipe): 1_000}, of=recipe)
    with django_assert_num_queries(1):  # type: ignore[operator]
        edges = trace("run", run.pk)
    assert {e.kind for e in edges} == {"lot", "batch", "run"}
    assert TODAY - dt.timedelta(days=1) < TODAY


def test_of_nothing_there_is_no_trace() -> None:
    assert trace("lot", 999) == trace("run", 999) == trace("batch", 999) == []
