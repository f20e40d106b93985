"""Which green is in a bag, and who got what of a lot: one recursive query each way.

The graph is lots -> batches -> runs -> bags -> customers, with an edge from a run to a later one
where a rest was used again. A run takes from runs before it only (a constraint), so every walk
ends. Bags are counted, not numbered: the lot code is what is traced, as the law has it
(Regulation (EC) 178/2002, Article 18: one step back, one step forward), and a million bags are
some ten thousand rows.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from django.db import connection

__all__ = ["Edge", "Start", "runs_into", "trace"]

Kind = Literal["lot", "batch", "run", "bags", "customer"]
Start = Literal["lot", "batch", "run"]


@dataclass(frozen=True, slots=True)
class Edge:
    """Something became part of something: grams, or bags where bags went to a customer.

    ``first`` and ``last`` are the days of the dispatches to a customer.
    """

    kind: Kind
    key: int
    into_kind: Kind
    into_key: int
    amount: int
    first: str = field(default="", compare=False)
    last: str = field(default="", compare=False)


# Joins are written as CROSS JOIN with their conditions in WHERE: PostgreSQL orders them as it
# likes, SQLite keeps the order as written, and cannot be led astray by sets of unknown size.

# Where a walk begins.
_BEGIN: dict[Start, str] = {
    "lot": (
        "SELECT p.run_id FROM coffees_approach a CROSS JOIN coffees_approachversion v "
        "CROSS JOIN batches_batch b CROSS JOIN production_runpart p WHERE a.lot_id = %s "
        "AND v.approach_id = a.id AND b.approach_version_id = v.id AND p.batch_id = b.id"
    ),
    "batch": "SELECT p.run_id FROM production_runpart p WHERE p.batch_id = %s",
    "run": "SELECT id FROM production_run WHERE id = %s",
}
_UP = (
    "SELECT p.source_id FROM above w CROSS JOIN production_runpart p "
    "WHERE p.run_id = w.run_id AND p.source_id IS NOT NULL"
)
_DOWN = "SELECT p.run_id FROM below w CROSS JOIN production_runpart p WHERE p.source_id = w.run_id"
# Batches of one lot, one batch, or the batches in a set of runs, with their lots.
_LOT_OF = "SELECT 'lot', a.lot_id, 'batch', b.id, b.green_g, NULL, NULL FROM "
_LOT_BEGIN: dict[Start, str] = {
    "lot": (
        f"{_LOT_OF} coffees_approach a CROSS JOIN coffees_approachversion v "
        "CROSS JOIN batches_batch b WHERE a.lot_id = %s AND v.approach_id = a.id "
        "AND b.approach_version_id = v.id AND NOT b.void"
    ),
    "batch": (
        f"{_LOT_OF} batches_batch b CROSS JOIN coffees_approachversion v "
        "CROSS JOIN coffees_approach a WHERE b.id = %s AND v.id = b.approach_version_id "
        "AND a.id = v.approach_id AND NOT b.void"
    ),
    "run": (
        f"{_LOT_OF} (SELECT DISTINCT batch_id FROM (SELECT p.batch_id FROM above w "
        "CROSS JOIN production_runpart p CROSS JOIN production_blendedentry e "
        "WHERE p.run_id = w.run_id AND p.batch_id IS NOT NULL AND e.part_id = p.id "
        "GROUP BY p.id, p.batch_id HAVING SUM(e.mass_g) > 0) weighed) used "
        "CROSS JOIN batches_batch b CROSS JOIN coffees_approachversion v "
        "CROSS JOIN coffees_approach a WHERE b.id = used.batch_id "
        "AND v.id = b.approach_version_id AND a.id = v.approach_id"
    ),
}
# What was weighed of each part of the runs in a set.
_OF_PART = (
    "SELECT CASE WHEN p.batch_id IS NULL THEN 'run' ELSE 'batch' END, "
    "COALESCE(p.batch_id, p.source_id), 'run', p.run_id, SUM(e.mass_g), NULL, NULL "
    "FROM {runs} w CROSS JOIN production_runpart p CROSS JOIN production_blendedentry e "
    "WHERE p.run_id = w.run_id AND e.part_id = p.id {only} "
    "GROUP BY p.id, p.batch_id, p.source_id, p.run_id HAVING SUM(e.mass_g) > 0"
)
_OURS = "p.source_id IN (SELECT run_id FROM below)"
_ONLY: dict[Start, str] = {
    "lot": (
        f"AND ({_OURS} OR p.batch_id IN (SELECT b.id FROM coffees_approach a "
        "CROSS JOIN coffees_approachversion v CROSS JOIN batches_batch b WHERE a.lot_id = %s "
        "AND v.approach_id = a.id AND b.approach_version_id = v.id))"
    ),
    "batch": f"AND ({_OURS} OR p.batch_id = %s)",
    # What else went into later runs is their affair; the rest of this one is ours.
    "run": f"AND {_OURS} AND p.run_id NOT IN (SELECT run_id FROM above)",
}
_OF_BAGS = (
    "SELECT 'run', k.run_id, 'bags', k.id, SUM(e.bags), NULL, NULL FROM below w "
    "CROSS JOIN production_packed k CROSS JOIN production_bagentry e "
    "WHERE k.run_id = w.run_id AND e.packed_id = k.id AND e.kind IN ('packed', 'unpacked') "
    "GROUP BY k.run_id, k.id HAVING SUM(e.bags) > 0 UNION ALL "
    "SELECT 'bags', k.id, 'customer', d.customer_id, -SUM(e.bags), "
    'CAST(MIN(d."on") AS varchar(10)), CAST(MAX(d."on") AS varchar(10)) FROM below w '
    "CROSS JOIN production_packed k CROSS JOIN production_bagentry e "
    "CROSS JOIN production_dispatchline l CROSS JOIN production_dispatch d "
    "WHERE k.run_id = w.run_id AND e.packed_id = k.id AND e.kind IN ('sent', 'returned') "
    "AND l.id = e.line_id AND d.id = l.dispatch_id "
    "GROUP BY k.id, d.customer_id HAVING SUM(e.bags) < 0"
)


def trace(start: Start, key: int) -> list[Edge]:
    """Return every edge on the way from a lot, a batch or a run to its receivers, and back.

    From a run the way back to its lots is part of the answer; from a lot or a batch only what it
    went into is, with what that is in.

    Parameters
    ----------
    start, key
        What to begin from.

    Returns
    -------
    list of Edge
        In no order. Grams from lots to runs, bags onwards.
    """
    sql, numbers = _sql(start)
    with connection.cursor() as cursor:
        cursor.execute(sql, [key] * numbers)
        return [
            Edge(kind, number, into, into_number, int(amount), first or "", last or "")
            for kind, number, into, into_number, amount, first, last in cursor.fetchall()
        ]


def _sql(start: Start) -> tuple[str, int]:
    """Return the statement, and how often it takes the key."""
    begin = _BEGIN[start]
    walks = f"below(run_id) AS ({begin} UNION {_DOWN})"
    pieces = [_LOT_BEGIN[start], _OF_PART.format(runs="below", only=_ONLY[start]), _OF_BAGS]
    if start == "run":
        walks = f"above(run_id) AS ({begin} UNION {_UP}), {walks}"
        pieces.append(_OF_PART.format(runs="above", only=""))
    sql = f"WITH RECURSIVE {walks} {' UNION ALL '.join(pieces)}"
    return sql, sql.count("%s")


def runs_into(key: int) -> list[int]:
    """Return a run and every earlier run whose rest, or the rest of whose rest, is in it."""
    walk = f"above(run_id) AS ({_BEGIN['run']} UNION {_UP})"
    with connection.cursor() as cursor:
        cursor.execute(f"WITH RECURSIVE {walk} SELECT run_id FROM above", [key])
        return [row[0] for row in cursor.fetchall()]


def keys_of(edges: Iterable[Edge], kind: Kind) -> set[int]:
    """Return the keys of one kind that edges touch."""
    return {e.key for e in edges if e.kind == kind} | {
        e.into_key for e in edges if e.into_kind == kind
    }
