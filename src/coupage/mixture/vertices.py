"""Extreme vertices of a region, exactly.

The double description method [1]_: start from the simplex that the lower bounds leave, cut it by
one limit after the other, and at each cut put a new vertex on every edge that crosses. Coordinates
are ratios of whole numbers, so a vertex is on a limit or it is not; no tolerance decides.

References
----------
.. [1] Fukuda K, Prodon A (1996), Double description method revisited, in Combinatorics and Computer
   Science, LNCS 1120, 91-111, sections 2 and 3 (combinatorial adjacency test).
.. [2] McLean RA, Anderson VL (1966), Extreme vertices design of mixture experiments, Technometrics
   8:447-454.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError

__all__ = ["extreme_vertices"]

Masks = npt.NDArray[np.uint64]
Row = tuple[Mapping[int, Fraction], Fraction]
_PAIRS_AT_ONCE = 2_000_000


def extreme_vertices(
    lower: Sequence[Fraction], upper: Sequence[Fraction], rows: Sequence[Row], most: int
) -> list[tuple[Fraction, ...]]:
    """Return the vertices of ``{x: lower <= x <= upper, sum x = 1, rows}``, none when empty.

    Raises
    ------
    InputError
        When there would be more than ``most`` of them.
    """
    q = len(lower)
    slack = 1 - sum(lower)
    if slack < 0:
        return []
    cuts: list[Row] = [
        ({i: Fraction(1)}, u) for i, u in enumerate(upper) if u < lower[i] + slack
    ] + list(rows)
    if slack == 0:
        point = tuple(lower)
        holds = all(sum(c * point[i] for i, c in row.items()) <= b for row, b in cuts)
        return [point] if holds else []
    points = [[*lower[:i], lower[i] + slack, *lower[i + 1 :]] for i in range(q)]
    vertices = [_homogeneous(p) for p in points]
    masks = np.zeros((q, (q + len(cuts) + 63) // 64), dtype=np.uint64)
    for i in range(q):  # vertex i lies on every lower bound but its own
        for j in range(q):
            if i != j:
                _mark(masks[i], j)
    for k, (row, bound) in enumerate(cuts):
        vertices, masks = _cut(vertices, masks, row, bound, q + k)
        if len(vertices) > most:
            raise InputError(
                f"vertices: this region has more than {most} of them; set fewer limits, "
                "leave components out, or use grid(step) or sample(n) instead"
            )
    return [tuple(Fraction(x, v[-1]) for x in v[:-1]) for v in vertices]


def _homogeneous(point: Sequence[Fraction]) -> list[int]:
    scale = math.lcm(*(x.denominator for x in point))
    return [*(int(x * scale) for x in point), scale]


def _mark(mask: Masks, bit: int) -> None:
    mask[bit // 64] |= np.uint64(1 << (bit % 64))


def _cut(
    vertices: list[list[int]], masks: Masks, row: Mapping[int, Fraction], bound: Fraction, bit: int
) -> tuple[list[list[int]], Masks]:
    """Keep what obeys ``row . x <= bound``; ``bit`` is this limit's place in the masks."""
    scale = math.lcm(bound.denominator, *(c.denominator for c in row.values()))
    whole = [(i, int(c * scale)) for i, c in row.items()]
    right = int(bound * scale)
    room = [right * v[-1] - sum(c * v[i] for i, c in whole) for v in vertices]
    signs = np.array([(r > 0) - (r < 0) for r in room], dtype=np.int8)
    masks = masks.copy()
    for i in np.flatnonzero(signs == 0):
        _mark(masks[i], bit)
    pairs = _crossing_edges(masks, signs, len(vertices[0]) - 1) if vertices else []
    kept = np.flatnonzero(signs >= 0)
    fresh, fresh_masks = [], np.empty((len(pairs), masks.shape[1]), dtype=np.uint64)
    for k, (a, b) in enumerate(pairs):
        new = [room[a] * y - room[b] * x for x, y in zip(vertices[a], vertices[b], strict=True)]
        common = math.gcd(*new)
        fresh.append([x // common for x in new])
        fresh_masks[k] = masks[a] & masks[b]
        _mark(fresh_masks[k], bit)
    return [vertices[i] for i in kept] + fresh, np.vstack([masks[kept], fresh_masks])


def _crossing_edges(masks: Masks, signs: npt.NDArray[np.int8], q: int) -> list[tuple[int, int]]:
    """Pairs of adjacent vertices, the first inside the cut and the second outside.

    An edge lies on at least q - 2 limits; two vertices are its ends when no third vertex lies on
    all the limits that they share.
    """
    inside, outside = np.flatnonzero(signs > 0), np.flatnonzero(signs < 0)
    edges: list[tuple[int, int]] = []
    if not inside.size or not outside.size:
        return edges
    block = max(1, _PAIRS_AT_ONCE // outside.size)
    for start in range(0, inside.size, block):
        some = inside[start : start + block]
        shared = masks[some][:, None] & masks[outside][None]
        counts = np.bitwise_count(shared).sum(axis=2, dtype=np.int64)
        for i, j in zip(*np.nonzero(counts >= q - 2), strict=True):
            common = shared[i, j]
            if np.count_nonzero(((masks & common) == common).all(axis=1)) == 2:
                edges.append((int(some[i]), int(outside[j])))
    return edges
