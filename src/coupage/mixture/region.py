"""Regions of feasible proportions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import product

import numpy as np
import numpy.typing as npt

from coupage.errors import InfeasibleError, InputError
from coupage.mixture.clash import can_hold, irreducible, smallest_clash
from coupage.mixture.grids import recipes_on_step, steps_in_one
from coupage.mixture.limits import Floats, Group, Limit, bound_limits, exact, group_limits
from coupage.mixture.pieces import Piece, Points, average_points, uniform_points
from coupage.mixture.vertices import extreme_vertices

__all__ = ["Region"]

Bound = float | Sequence[float] | Mapping[str, float] | Floats | None
_MOST_PIECES = 5_000
_MOST_VERTICES = 20_000
_MOST_CENTRE_VERTICES = 2_000


@dataclass(frozen=True, slots=True, eq=False, init=False)
class Region:
    """Every recipe that obeys the limits: shares of q components that sum to 1.

    Parameters
    ----------
    names : sequence of str, (q,)
        The components, distinct.
    lower, upper : number, (q,), mapping from name, or None
        Bounds on each share; one number for all; components a mapping leaves out are free.
    groups : sequence of Group
        Linear limits over several components.
    exclusive : sequence of sequences of names
        Of each set at most one may be in a recipe: the approaches of one lot, say. The region is
        then a union of convex pieces, one for each choice; every method answers for the union.

    Raises
    ------
    InfeasibleError
        When no recipe obeys all limits; ``clashing`` holds a smallest set of limits that clash
        (an irreducible one when exclusive sets take part).

    Examples
    --------
    The flare of McLean and Anderson (1966), whose upper bounds of 50 % cannot be reached:

    >>> flare = Region(["Mg", "NaNO3", "SrNO3", "binder"], [0.4, 0.1, 0.1, 0.03],
    ...                [0.6, 0.5, 0.5, 0.08])
    >>> len(flare.vertices()), flare.implied().upper.tolist()
    (8, [0.6, 0.47, 0.47, 0.08])
    >>> Region(["A", "B"], lower=[0.5, 0.6])  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    coupage.errors.InfeasibleError: no recipe obeys these limits together: at least 50 % A; ...
    """

    names: tuple[str, ...]
    lower: Floats
    upper: Floats
    groups: tuple[Group, ...]
    exclusive: tuple[tuple[str, ...], ...]
    _exact: tuple[tuple[Fraction, ...], tuple[Fraction, ...]] = field(repr=False)
    _limits: tuple[Limit, ...] = field(repr=False)

    def __init__(
        self,
        names: Sequence[str],
        lower: Bound = None,
        upper: Bound = None,
        groups: Sequence[Group] = (),
        *,
        exclusive: Sequence[Sequence[str]] = (),
    ) -> None:
        names = tuple(names)
        if not names or len(set(names)) != len(names):
            raise InputError(f"names: {list(names)} must be at least one name, each only once")
        low, high = _bound(lower, 0.0, names, "lower"), _bound(upper, 1.0, names, "upper")
        for kind, values in (("lower", low), ("upper", high)):
            if not ((values >= 0) & (values <= 1)).all():
                raise InputError(
                    f"{kind}: {values.tolist()} must be shares from 0 to 1; write 20 % as 0.2"
                )
        sets = tuple(tuple(dict.fromkeys(group)) for group in exclusive)
        unknown = sorted({n for group in sets for n in group} - set(names))
        if unknown:
            raise InputError(
                f"exclusive: {', '.join(unknown)} is not a component; there are {', '.join(names)}"
            )
        fractions = tuple(map(exact, low)), tuple(map(exact, high))
        low.flags.writeable = high.flags.writeable = False
        put = object.__setattr__
        put(self, "names", names)
        put(self, "lower", low)
        put(self, "upper", high)
        put(self, "groups", tuple(groups))
        put(self, "exclusive", tuple(group for group in sets if len(group) > 1))
        put(self, "_exact", fractions)
        put(self, "_limits", tuple(group_limits(names, self.groups)))
        self._refuse_empty()

    # --- what it is ---------------------------------------------------------------------------

    @property
    def q(self) -> int:
        """Number of components."""
        return len(self.names)

    def limits(self) -> list[str]:
        """Every limit in words, as a page lists them."""
        rows = [*bound_limits(self.names, *self._exact), *self._limits]
        return [limit.text for limit in rows] + [_only_one(group) for group in self.exclusive]

    def contains(self, x: npt.ArrayLike, tol: float = 1e-9) -> npt.NDArray[np.bool_]:
        """Tell which recipes obey every limit.

        Parameters
        ----------
        x : (n, q) or (q,)
        tol
            Slack on every limit; a share up to ``tol`` counts as absent.

        Returns
        -------
        (n,) bool
        """
        points = self._recipes(x)
        fine = np.abs(points.sum(axis=1) - 1) <= max(tol, 1e-9)
        fine &= ((points >= self.lower - tol) & (points <= self.upper + tol)).all(axis=1)
        for limit in self._limits:
            fine &= points @ limit.dense(self.q) <= float(limit.bound) + tol
        for group in self._sets():
            fine &= np.count_nonzero(points[:, group] > tol, axis=1) <= 1
        return np.asarray(fine)

    def tight(self, x: npt.ArrayLike, tol: float = 1e-9) -> npt.NDArray[np.bool_]:
        """Tell which limits each recipe (n, q) touches: (n, lower, upper, then groups)."""
        points = self._recipes(x)
        room = [points - self.lower, self.upper - points]
        room += [(float(r.bound) - points @ r.dense(self.q))[:, None] for r in self._limits]
        return np.asarray(np.abs(np.hstack(room)) <= tol)

    def pieces(self) -> list[Region]:
        """Return the convex pieces: one region for each choice from the exclusive sets."""
        if not self.exclusive:
            return [self]
        count = int(np.prod([float(len(group)) for group in self.exclusive]))
        if count > _MOST_PIECES:
            raise InputError(
                f"exclusive: these sets allow {count} choices, more than {_MOST_PIECES}; "
                "leave components out"
            )
        found, seen = [], set()
        for choice in product(*self._sets()):
            out = frozenset(i for group in self._sets() for i in group if i not in choice)
            if out in seen or any(self.lower[i] > 0 for i in out):
                continue
            seen.add(out)
            upper = self.upper.copy()
            upper[list(out)] = 0
            try:
                found.append(Region(self.names, self.lower, upper, self.groups))
            except InfeasibleError:
                continue
        return found

    # --- its points ---------------------------------------------------------------------------

    def vertices(self) -> Floats:
        """Return the extreme vertices (v, q), exact up to their writing as floats, sorted."""
        return np.array(sorted(self._vertices(_MOST_VERTICES)), dtype=float)

    def implied(self) -> Region:
        """Return the same region with every bound moved to what can be attained."""
        low, high = zip(*(piece._range() for piece in self.pieces()), strict=True)
        return Region(
            self.names,
            np.min(low, axis=0),
            np.max(high, axis=0),
            self.groups,
            exclusive=self.exclusive,
        )

    def grid(self, step: float, *, most: int = 3_000_000) -> Floats:
        """Return every recipe on the step (n, q), in lexicographic order; n may be 0.

        Examples
        --------
        >>> Region("ABC").grid(0.25).shape
        (15, 3)
        """
        rows = [limit for limit in self._limits if limit.row]
        parts = recipes_on_step(*self._exact, rows, self._sets(), step, most)
        return np.asarray(parts / steps_in_one(step))

    def sample(self, n: int, *, rng: np.random.Generator | None = None) -> Floats:
        """Return ``n`` recipes (n, q) spread uniformly over the region.

        Exact (rejection or triangulation) except for regions of more than ten components, or many
        hundred vertices, whose limits leave less than a thousandth of the simplex that their bounds
        span; those are walked by hit and run, uniform in the limit. Of exclusive sets the pieces of
        highest dimension are drawn, in proportion to their volume.
        """
        rng = np.random.default_rng() if rng is None else rng
        pieces, shares = self._shares()
        counts = rng.multinomial(n, shares)
        drawn = [uniform_points(p, int(c), rng) for p, c in zip(pieces, counts, strict=True) if c]
        if not drawn:
            return np.empty((0, self.q))
        return rng.permutation(np.concatenate(drawn), axis=0)

    def average_points(self, degree: int) -> tuple[Floats, Floats]:
        """Points (m, q) and weights (m,) of sum 1: weighted sums average polynomials over it.

        Exact up to ``degree`` for bounds alone and for up to ten components; otherwise 20,000
        uniform points from a fixed seed. Points of the exact rules may lie outside, weights may be
        negative.
        """
        pieces, shares = self._shares()
        parts = [average_points(p, degree) for p in pieces]
        weights = [part.weights * share for part, share in zip(parts, shares, strict=True)]
        return np.concatenate([part.x for part in parts]), np.concatenate(weights)

    def centroid(self) -> Floats:
        """Return the centre of the region's volume (q,): the average of all its recipes.

        With exclusive sets this averages over the choices, and may break them itself.
        """
        x, weights = self.average_points(1)
        return np.asarray(weights @ x)

    # --- inside -------------------------------------------------------------------------------

    def _recipes(self, x: npt.ArrayLike) -> Floats:
        points = np.atleast_2d(np.asarray(x, dtype=float))
        if points.ndim != 2 or points.shape[1] != self.q:
            raise InputError(
                f"x: shape {points.shape} does not fit; give rows of {self.q} shares in the order "
                f"{', '.join(self.names)}"
            )
        return points

    def _sets(self) -> list[list[int]]:
        return [[self.names.index(n) for n in group] for group in self.exclusive]

    def _vertices(self, most: int) -> set[tuple[Fraction, ...]]:
        rows = [(limit.row, limit.bound) for limit in self._limits if limit.row]
        return {
            vertex
            for piece in self.pieces()
            for vertex in extreme_vertices(*piece._exact, rows, most)
        }

    def _range(self) -> tuple[Floats, Floats]:
        """Attainable bounds of a convex piece: closed form, or linear programs with groups."""
        low, high = self._exact
        free_low, free_high = 1 - sum(high), 1 - sum(low)
        least = [max(a, free_low + b) for a, b in zip(low, high, strict=True)]
        greatest = [min(b, free_high + a) for a, b in zip(low, high, strict=True)]
        if not self._limits:
            return np.array(least, dtype=float), np.array(greatest, dtype=float)
        from scipy.optimize import linprog

        rows = [limit.dense(self.q) for limit in self._limits]
        ends = [float(limit.bound) for limit in self._limits]
        bounds = list(zip(self.lower, self.upper, strict=True))
        found = []
        for sign, i in product((1.0, -1.0), range(self.q)):
            cost = np.zeros(self.q)
            cost[i] = sign
            answer = linprog(cost, rows, ends, np.ones((1, self.q)), [1.0], bounds)
            found.append(float(exact(min(1.0, max(0.0, sign * float(answer.fun or 0.0))))))
        return np.array(found[: self.q]), np.array(found[self.q :])

    def _piece(self) -> Piece:
        low, high = self._range()
        rows = np.array([limit.dense(self.q) for limit in self._limits]).reshape(-1, self.q)
        ends = np.array([float(limit.bound) for limit in self._limits])
        vertices = None
        if len(self._limits):  # bounds alone need no vertices, and could have very many
            try:
                found = self._vertices(_MOST_CENTRE_VERTICES)
                vertices = np.array(sorted(found), dtype=float)
                centre = vertices.mean(axis=0)
            except InputError:
                centre = _middle(low, high, rows, ends)
        else:
            room = high - low
            total = room.sum()
            centre = low + (room * (1 - low.sum()) / total if total > 0 else 0)
        return Piece(low, high, rows, ends, vertices, centre)

    def _shares(self) -> tuple[list[Piece], Floats]:
        """Convex pieces of highest dimension, and the share of the volume that each has."""
        pieces = [piece._piece() for piece in self.pieces()]
        if len(pieces) == 1:
            return pieces, np.ones(1)
        sizes: list[Points] = [average_points(piece, 0) for piece in pieces]
        top = max(size.dimension for size in sizes)
        kept = [k for k, size in enumerate(sizes) if size.dimension == top]
        volumes = np.array([sizes[k].volume for k in kept])
        if np.isnan(volumes).any():
            volumes = np.ones(len(kept))
        return [pieces[k] for k in kept], volumes / volumes.sum()

    def _refuse_empty(self) -> None:
        low, high = self._exact
        bounds_hold = sum(low) <= 1 <= sum(high) and all(
            a <= b for a, b in zip(low, high, strict=True)
        )
        if bounds_hold and not self._limits and not self.exclusive:
            return
        limits = [*bound_limits(self.names, low, high), *self._limits]
        sets = self._sets()
        if bounds_hold and can_hold(self.q, limits, sets):
            return
        if not bounds_hold or not can_hold(self.q, limits):
            clashing = [limit.text for limit in smallest_clash(self.q, limits)]
        else:
            items: list[Limit | list[int]] = [*limits, *sets]
            left = irreducible(items, lambda some: _hold(self.q, some))
            clashing = [
                item.text if isinstance(item, Limit) else _only_one([self.names[i] for i in item])
                for item in left
            ]
        raise InfeasibleError(
            f"no recipe obeys these limits together: {'; '.join(clashing)}. "
            "Loosen at least one of them.",
            clashing,
        )


def _bound(value: Bound, default: float, names: tuple[str, ...], what: str) -> Floats:
    if value is None:
        return np.full(len(names), default)
    if isinstance(value, Mapping):
        unknown = [n for n in value if n not in names]
        if unknown:
            raise InputError(
                f"{what}: {', '.join(map(repr, unknown))} is not a component; "
                f"there are {', '.join(names)}"
            )
        return np.array([float(value.get(n, default)) for n in names])
    array = np.array(value, dtype=float)
    if array.ndim == 0:
        return np.full(len(names), float(array))
    if array.shape != (len(names),):
        raise InputError(
            f"{what}: shape {array.shape} does not fit; give one number for each of "
            f"{len(names)} components"
        )
    return array


def _only_one(names: Sequence[str]) -> str:
    return f"at most one of {', '.join(names)}"


def _hold(q: int, items: Sequence[Limit | list[int]]) -> bool:
    limits = [item for item in items if isinstance(item, Limit)]
    return can_hold(q, limits, [item for item in items if not isinstance(item, Limit)])


def _middle(low: Floats, high: Floats, rows: Floats, ends: Floats) -> Floats:
    """A point well inside: as far from every limit as a linear programme can bring it."""
    from scipy.optimize import linprog

    q = low.size
    plane = np.eye(q) - 1 / q  # distances within the plane where shares sum to 1
    sides = np.vstack([rows, np.eye(q), -np.eye(q)])
    bounds = np.r_[ends, high, -low]
    reach = np.linalg.norm(sides @ plane, axis=1)
    # A limit and its opposite leave no room between them; a fixed share neither.
    tight = np.array(
        [
            (np.isclose(sides, -s).all(1) & np.isclose(bounds, -b)).any()
            for s, b in zip(sides, bounds, strict=True)
        ]
    )
    reach[tight] = 0
    answer = linprog(
        np.r_[np.zeros(q), -1.0],
        np.column_stack([sides, reach]),
        bounds,
        np.r_[np.ones(q), 0.0][None],
        [1.0],
        [(None, None)] * q + [(0, None)],
    )
    return np.asarray(answer.x)[:q]
