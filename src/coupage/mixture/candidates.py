"""Recipes worth trying as trials, and small steps away from a trial."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError
from coupage.mixture.grids import steps_in_one
from coupage.mixture.limits import Floats
from coupage.mixture.region import Region

__all__ = ["Neighbours", "candidates", "on_step"]

_FEW_CORNERS = 12
_MOST_SPREAD = 1_500
_MOST_INSIDE = 200
_MOST_STEPPED = 4_000
_DEPTH = 4


def candidates(region: Region, step: float | None, rng: np.random.Generator) -> Floats:
    """Return feasible recipes (c, q) among which good designs lie near.

    Vertices and their equal mixtures to four when they are few, else vertices, centres of random
    faces and some inner recipes; with a step, the whole grid when it is small, else those rounded
    to it and some more of the grid.

    Raises
    ------
    InputError
        When no recipe on the step obeys the limits.
    """
    if step is None:
        return _unique(_spread(region, rng))
    try:
        return _not_empty(region.grid(step, most=_MOST_STEPPED), step)
    except InputError as error:
        if "finer step" in str(error):
            raise
    rough = np.concatenate([_spread(region, rng), region.sample(_MOST_STEPPED, rng=rng)])
    near = on_step(rough, step)
    found = _unique(near[region.contains(near)])
    # A thin region may lie beside all rounded points; its grid is then small enough to list.
    return found if len(found) else _not_empty(region.grid(step), step)


def _not_empty(grid: Floats, step: float) -> Floats:
    if not len(grid):
        raise InputError(f"step: no recipe on {step:g} obeys the limits; take a finer step")
    return grid


def on_step(x: Floats, step: float) -> Floats:
    """Round recipes (n, q) to the step by largest remainder, keeping the sum."""
    total = steps_in_one(step)
    exact = x * total
    whole = np.floor(exact + 1e-9)
    short = np.rint(total - whole.sum(axis=1)).astype(int)
    rank = np.argsort(np.argsort(whole - exact, axis=1, kind="stable"), axis=1, kind="stable")
    return np.asarray((whole + (rank < short[:, None])) / total)


def _spread(region: Region, rng: np.random.Generator) -> Floats:
    found = []
    for piece in region.pieces():
        try:
            corners = piece.vertices()
        except InputError:  # too many to list
            found.append(piece.sample(_MOST_SPREAD, rng=rng))
            continue
        found += [corners, corners.mean(axis=0, keepdims=True)]
        if len(corners) <= _FEW_CORNERS:
            found += [_mixed(corners, size) for size in range(2, _DEPTH + 1)]
        else:
            found += [_face_centres(piece, corners, rng), piece.sample(_MOST_INSIDE, rng=rng)]
    return np.concatenate(found)


def _mixed(corners: Floats, size: int) -> Floats:
    """Equal mixtures of each ``size`` corners."""
    picks = np.array(list(combinations(range(len(corners)), size)), dtype=np.int64)
    return np.asarray(corners[picks.reshape(-1, size)].mean(axis=1))


def _face_centres(piece: Region, corners: Floats, rng: np.random.Generator) -> Floats:
    """Averages of the corners of random faces, edges first among them.

    A corner and some of the limits on which it lies name a face: all corners on those limits.
    """
    tight = piece.tight(corners)
    found = set()
    for _ in range(_MOST_SPREAD):
        on = np.flatnonzero(tight[rng.integers(len(corners))])
        dimension = int(min(rng.geometric(0.4), piece.q - 1))
        some = rng.permutation(on)[: max(0, piece.q - 1 - dimension)]
        face = np.flatnonzero(tight[:, some].all(axis=1))
        found.add(tuple(face.tolist()))
    return np.array([corners[list(face)].mean(axis=0) for face in sorted(found)])


def _unique(x: Floats) -> Floats:
    _, first = np.unique(np.round(x, 9), axis=0, return_index=True)
    return np.asarray(x[np.sort(first)])


class Neighbours:
    """Recipes one small move away: some share handed from one component to another, or a part of
    the way to a corner (which no linear limit can forbid).
    """

    def __init__(self, region: Region, step: float | None) -> None:
        q = region.q
        self._region = region
        self._step = step
        give, take = np.nonzero(~np.eye(q, dtype=bool))
        self._hands = np.zeros((len(give), q))
        self._hands[np.arange(len(give)), give] = 1
        self._hands[np.arange(len(give)), take] = -1
        self.corners = np.empty((0, q))
        if step is None and region.groups:
            try:
                self.corners = region.vertices()[:64]
            except InputError:
                self.corners = np.empty((0, q))

    def around(
        self, x: Floats, size: float, *, to_corners: bool
    ) -> tuple[Floats, npt.NDArray[np.bool_]]:
        """Moves (n, k, q) of each recipe (n, q), and which of them are feasible (n, k)."""
        if to_corners:
            moved = x[:, None] + size * (self.corners - x[:, None])
        else:
            moved = x[:, None] + size * self._hands
        if self._step is not None:
            total = steps_in_one(self._step)
            moved = np.rint(moved * total) / total
        n, k, q = moved.shape
        fine = np.asarray((moved >= -1e-12).all(axis=2))
        if self._region.limits():
            flat = moved.reshape(-1, q)
            fine = self._region.contains(flat, tol=1e-10).reshape(n, k)
        return np.maximum(moved, 0), fine
