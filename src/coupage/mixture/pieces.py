"""Convex pieces of a region: volumes, exact averages, uniform points.

A piece is ``{x: lower <= x <= upper, sum x = 1, A x <= b}``. Three ways serve, in this order:

1. bounds alone: the piece is a signed sum of corner simplices (inclusion and exclusion over the
   upper bounds), so averages of polynomials are exact;
2. linear limits, some hundred vertices, up to ten components: the simplices of a triangulation of
   the vertices, exact again;
3. otherwise many uniform points from a fixed seed.

References
----------
.. [1] Grundmann A, Moeller HM (1978), Invariant integration formulas for the n-simplex by
   combinatorial methods, SIAM J. Numer. Anal. 15:282-290, theorem 4.
.. [2] Smith RL (1984), Efficient Monte Carlo procedures for generating points uniformly
   distributed over bounded regions, Operations Research 32:1296-1308 (hit and run).
.. [3] Lee CW, Santos F (2017), Subdivisions and triangulations of polytopes, in Handbook of
   Discrete and Computational Geometry, 3rd ed., section 16.2 (pulling).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from coupage.mixture.limits import Floats

__all__ = ["Piece", "Points", "average_points", "uniform_points"]

Face = frozenset[int]
Cells = list[tuple[int, ...]]

_MOST_CORNERS = 20_000
_WORST_CANCELLATION = 1e6
_MOST_TRIANGULATED = 400
_HIGHEST_TRIANGULATED = 9
_MOST_CELLS = 60_000
_MOST_NODES = 1_500_000
_POINTS_OTHERWISE = 20_000
_LEAST_ACCEPTED = 1e-3


@dataclass(frozen=True, slots=True)
class Piece:
    """A convex piece in floating point, its vertices where they could be listed."""

    lower: Floats
    upper: Floats
    rows: Floats
    bounds: Floats
    vertices: Floats | None
    centre: Floats

    @property
    def free(self) -> npt.NDArray[np.int64]:
        """Indices of the components that can move."""
        return np.flatnonzero(self.upper - self.lower > 1e-12).astype(np.int64)


@dataclass(frozen=True, slots=True)
class Points:
    """Points ``x (m, q)`` whose weighted sum gives averages; ``volume`` in ``dimension``."""

    x: Floats
    weights: Floats
    volume: float
    dimension: int


def average_points(piece: Piece, degree: int) -> Points:
    """Points and weights (summing to 1) that average polynomials up to ``degree`` over a piece."""
    free = piece.free
    if free.size == 0 or (piece.vertices is not None and len(piece.vertices) == 1):
        return Points(piece.centre[None], np.ones(1), 1.0, 0)
    if not len(piece.bounds):
        corners = _corners(piece)
        if corners is not None:
            return _over_corners(piece, *corners, degree)
    if piece.vertices is not None and len(piece.vertices) <= _MOST_TRIANGULATED:
        simplices, volumes, dimension = _triangulate(piece, piece.vertices)
        nodes, weights = _simplex_rule(dimension, degree)
        if 0 < len(simplices) * len(nodes) <= _MOST_NODES:
            x = np.einsum("mb,sbq->smq", nodes, simplices).reshape(-1, piece.lower.size)
            share = volumes / volumes.sum()
            return Points(x, np.outer(share, weights).ravel(), float(volumes.sum()), dimension)
    rng = np.random.default_rng(20240)
    x = uniform_points(piece, _POINTS_OTHERWISE, rng)
    weights = np.full(len(x), 1 / len(x))
    # Without a closed form the volume is unknown: NaN lets the caller weigh its pieces alike.
    return Points(x, weights, math.nan, free.size - 1)


def uniform_points(piece: Piece, n: int, rng: np.random.Generator) -> Floats:
    """Return ``n`` uniform points (n, q).

    Exact by rejection from the smaller of the two enclosing simplices while at least one in a
    thousand is accepted, exact by triangulation up to ten components, else hit and run, one chain a
    point, long enough to forget its start.
    """
    if piece.free.size == 0:
        return np.tile(piece.centre, (n, 1))
    points = _rejected(piece, n, rng)
    if points is not None:
        return points
    if piece.vertices is not None and len(piece.vertices) <= _MOST_TRIANGULATED:
        simplices, volumes, dimension = _triangulate(piece, piece.vertices)
        if len(simplices):
            chosen = rng.choice(len(volumes), n, p=volumes / volumes.sum())
            inside = rng.dirichlet(np.ones(dimension + 1), n)
            return np.asarray(np.einsum("nb,nbq->nq", inside, simplices[chosen]))
    return _hit_and_run(piece, n, rng)


def _frame(piece: Piece) -> tuple[Floats, float, float, Floats]:
    """Corner, direction (+1 or -1), size and room of the smaller enclosing simplex.

    Lower bounds leave the simplex ``lower + slack * b``; upper bounds leave ``upper - excess * b``;
    ``b`` are shares that sum to 1. Whichever is smaller encloses the piece more tightly.
    """
    free = piece.free
    slack, excess = 1 - piece.lower.sum(), piece.upper.sum() - 1
    room = piece.upper[free] - piece.lower[free]
    if slack <= excess:
        return piece.lower, 1.0, slack, room
    return piece.upper, -1.0, excess, room


def _corners(piece: Piece) -> tuple[Floats, Floats, Floats] | None:
    """Corner simplices in frame coordinates: corners (k, free), sizes (k,), signs (k,)."""
    _, _, size, room = _frame(piece)
    k = room.size
    corners, sizes, signs = [np.zeros(k)], [size], [1.0]
    for i in range(k):
        for j in range(len(sizes)):
            left = sizes[j] - room[i]
            if left > 1e-12:
                corner = corners[j].copy()
                corner[i] = room[i]
                corners.append(corner)
                sizes.append(left)
                signs.append(-signs[j])
        if len(sizes) > _MOST_CORNERS:
            return None
    parts = np.array(signs) * np.array(sizes) ** (k - 1)
    if np.abs(parts).sum() > _WORST_CANCELLATION * abs(parts.sum()):
        return None
    return np.array(corners), np.array(sizes), np.array(signs)


def _over_corners(
    piece: Piece, corners: Floats, sizes: Floats, signs: Floats, degree: int
) -> Points:
    start, direction, _, room = _frame(piece)
    k = room.size
    nodes, weights = _simplex_rule(k - 1, degree)
    local = corners[:, None] + sizes[:, None, None] * nodes
    x = np.tile(start, (local.shape[0] * local.shape[1], 1))
    x[:, piece.free] += direction * local.reshape(-1, k)
    parts = signs * sizes ** (k - 1)
    volume = float(parts.sum()) * math.sqrt(k) / math.factorial(k - 1)
    return Points(x, np.outer(parts / parts.sum(), weights).ravel(), volume, k - 1)


def _triangulate(piece: Piece, vertices: Floats) -> tuple[Floats, Floats, int]:
    """Simplices (s, d + 1, q) that fill the piece, their volumes, and d; none when too many.

    Pulling triangulation [3]_: a face is the cone from its first vertex over the triangulated
    facets that do not hold that vertex. Which vertex lies on which limit tells the faces.
    """
    sides = vertices[1:] - vertices[0]
    dimension = int(np.linalg.matrix_rank(sides, tol=1e-9))
    if dimension > _HIGHEST_TRIANGULATED:
        return np.empty((0, 0, 0)), np.empty(0), dimension
    ends = np.hstack([piece.lower - vertices, piece.upper - vertices])
    tight = np.abs(np.hstack([ends, piece.bounds - vertices @ piece.rows.T])) < 1e-9
    limits = {frozenset(np.flatnonzero(column).tolist()) for column in tight.T}
    try:
        picks = np.array(_pull(frozenset(range(len(vertices))), dimension, limits, {}))
    except OverflowError:
        return np.empty((0, 0, 0)), np.empty(0), dimension
    simplices = vertices[picks]
    arms = simplices[:, 1:] - simplices[:, :1]
    gram = np.linalg.det(arms @ arms.transpose(0, 2, 1))
    return simplices, np.sqrt(np.maximum(gram, 0)) / math.factorial(dimension), dimension


def _pull(face: Face, dimension: int, limits: set[Face], known: dict[Face, Cells]) -> Cells:
    if len(face) == dimension + 1:
        return [tuple(sorted(face))]
    if face not in known:
        sides = {face & limit for limit in limits} - {face, frozenset()}
        facets = [side for side in sides if not any(side < other for other in sides)]
        first = min(face)
        cells: Cells = []
        for facet in sorted(facets, key=sorted):
            if first not in facet:
                cells += [(first, *c) for c in _pull(facet, dimension - 1, limits, known)]
            if len(cells) > _MOST_CELLS:
                raise OverflowError
        known[face] = cells
    return known[face]


@lru_cache(maxsize=64)
def _simplex_rule(dimension: int, degree: int) -> tuple[Floats, Floats]:
    """Grundmann and Moeller's rule [1]_: barycentric nodes (m, d + 1) and weights (m,) of sum 1."""
    order = max(0, degree // 2)  # exact to 2 * order + 1
    top = 2 * order + 1
    nodes, weights = [], []
    for i in range(order + 1):
        denominator = top + dimension - 2 * i
        weight = (
            (-1) ** i
            * 2.0 ** (-2 * order)
            * float(denominator) ** top
            / (math.factorial(i) * math.factorial(top + dimension - i))
            * math.factorial(dimension)
        )
        for share in _shares(dimension + 1, order - i):
            nodes.append([(2 * s + 1) / denominator for s in share])
            weights.append(weight)
    return np.array(nodes), np.array(weights)


def _shares(parts: int, total: int) -> list[list[int]]:
    if parts == 1:
        return [[total]]
    return [[k, *rest] for k in range(total + 1) for rest in _shares(parts - 1, total - k)]


def _inside(piece: Piece, x: Floats, tol: float = 1e-12) -> npt.NDArray[np.bool_]:
    fine = ((x >= piece.lower - tol) & (x <= piece.upper + tol)).all(axis=1)
    if len(piece.bounds):
        fine &= (x @ piece.rows.T <= piece.bounds + tol).all(axis=1)
    return np.asarray(fine)


def _rejected(piece: Piece, n: int, rng: np.random.Generator) -> Floats | None:
    start, direction, size, room = _frame(piece)
    found: list[Floats] = []
    have = tried = 0
    while have < n:
        rows = min(200_000, max(2_000, 2 * (n - have)))
        x = np.tile(start, (rows, 1))
        x[:, piece.free] += direction * size * rng.dirichlet(np.ones(room.size), rows)
        x = x[_inside(piece, x)]
        found.append(x)
        have += len(x)
        tried += rows
        if have < _LEAST_ACCEPTED * tried:
            return None
    return np.concatenate(found)[:n]


def _hit_and_run(piece: Piece, n: int, rng: np.random.Generator) -> Floats:
    """One chain a point along random directions of the piece's own plane [2]_."""
    q = piece.lower.size
    plane = _plane(piece)
    x = np.tile(piece.centre, (n, 1))
    rows = np.vstack([np.eye(q), -np.eye(q), piece.rows])
    bounds = np.r_[piece.upper, -piece.lower, piece.bounds]
    for _ in range(30 * plane.shape[0] + 50):
        direction = rng.standard_normal((n, plane.shape[0])) @ plane
        speed = direction @ rows.T
        room = np.maximum(bounds - x @ rows.T, 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = room / speed
        ahead = np.where(speed > 1e-12, reach, np.inf).min(axis=1)
        behind = np.where(speed < -1e-12, reach, -np.inf).max(axis=1)
        x += (behind + (ahead - behind) * rng.random(n))[:, None] * direction
    return np.clip(x, piece.lower, piece.upper)


def _plane(piece: Piece) -> Floats:
    """Axes of the plane in which the piece lies, stretched to its shape when vertices tell it."""
    if piece.vertices is not None:
        _, spread, axes = np.linalg.svd(piece.vertices - piece.centre, full_matrices=False)
        keep = spread > 1e-9
        return np.asarray(spread[keep, None] * axes[keep])
    fixed = [np.ones(piece.lower.size)]
    fixed += list(np.eye(piece.lower.size)[piece.upper - piece.lower <= 1e-12])
    for i, row in enumerate(piece.rows):
        opposite = np.isclose(piece.rows, -row).all(axis=1) & np.isclose(
            piece.bounds, -piece.bounds[i]
        )
        if opposite.any():
            fixed.append(row)
    _, spread, axes = np.linalg.svd(np.array(fixed))
    rank = int((spread > 1e-9).sum())
    return np.asarray(axes[rank:])
