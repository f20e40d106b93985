"""Solving the equations of all effects and tracing their inverse: exactly, or by random signs [1]_.

References
----------
.. [1] M. F. Hutchinson (1990), Communications in Statistics B 19, 433-450.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from coupage.panel.system import DENSE, Equations, System

__all__ = ["Solver", "Warmth", "probes", "solver_for"]

Floats = NDArray[np.float64]

PROBES = 8


@dataclass(slots=True)
class Warmth:
    """What a step leaves for the next: solved probes, solved variates, how exact traces must be."""

    probes: Floats
    solved: Floats | None = None
    pulled: Floats | None = None
    tolerance: float = 0.02


def probes(system: System, seed: int) -> Floats:
    """Directions whose outer products average to the identity: levels, and signs for the rest."""
    if system.size <= DENSE:
        return np.empty((system.size, 0))
    levels = system.levels()
    rng = np.random.default_rng([seed, 3])
    signs = rng.choice([-1.0, 1.0], (system.size, PROBES)) / np.sqrt(PROBES)
    both = np.hstack([levels, signs - levels @ (levels.T @ signs)])
    return both.astype(np.float32)


class Solver:
    """Solve and trace, exactly."""

    def __init__(self, equations: Equations, warmth: Warmth) -> None:
        self.equations, self.warmth = equations, warmth
        self.factor = equations.factor()

    def solve(self, b: Floats, start: Floats | None = None) -> Floats:  # noqa: ARG002
        return np.asarray(linalg.cho_solve(self.factor, b))

    def roughly(self, b: Floats) -> Floats:
        return self.solve(b)

    def traces(self) -> tuple[Floats, Floats]:
        """Diagonal of A^-1 (p,) and tr(A^-1 Z_t'Z_t) of each taster (T,)."""
        system = self.equations.system
        triangle = linalg.lapack.dpotri(self.factor[0], lower=1)[0]
        inverse = np.tril(triangle) + np.tril(triangle, -1).T
        leverage: Floats = np.zeros(system.tasters, dtype=np.float64)
        step = max(1, 4_000_000 // system.size)
        f, c = system.cells.shape[1], system.cells.shape[0]
        # By cell and taster: rows with the same effects need one look.
        key = system.taster * c + system.cell
        for column in system.columns.T:
            key = key * system.counts.shape[1] + column
        _, first, count = np.unique(key, return_index=True, return_counts=True)
        for i in range(0, len(first), step):
            rows = first[i : i + step]
            inside = system.cells[system.cell[rows]]
            some = inside @ inverse[:f]
            for column in system.columns[rows].T:
                some += inverse[f + column]
            own = np.asarray(inside.multiply(some[:, :f]).sum(axis=1)).ravel()
            for column in system.columns[rows].T:
                own += some[np.arange(len(rows)), f + column]
            weights = own * count[i : i + step]
            part = np.bincount(system.taster[rows], weights=weights, minlength=system.tasters)
            leverage += part.astype(np.float64)
        return np.diagonal(inverse).copy(), leverage


class IterativeSolver(Solver):
    """Solve by conjugate gradients and trace with random signs."""

    def __init__(self, equations: Equations, warmth: Warmth) -> None:
        self.equations, self.warmth, self.light = equations, warmth, equations.light()

    def solve(self, b: Floats, start: Floats | None = None) -> Floats:
        # The points that answers come from are solved to the last digits once the search ends.
        return self.equations.solve(b, start=start, tolerance=1e-5)

    def roughly(self, b: Floats) -> Floats:
        """Good to two digits: the information only shapes the step."""
        single: Floats = b.astype(self.light.diagonal.dtype)
        self.warmth.pulled = self.light.solve(single, start=self.warmth.pulled, tolerance=1e-2)
        return self.warmth.pulled

    def traces(self) -> tuple[Floats, Floats]:
        """As exact, but estimated: the inverse of the diagonal is exact, signs do the rest."""
        warmth, system, probes = self.warmth, self.equations.system, self.warmth.probes
        start = probes / self.light.diagonal[:, None]
        before = start if warmth.solved is None else warmth.solved
        warmth.solved = self.light.solve(
            probes, start=before, tolerance=warmth.tolerance, beyond=start
        )
        rest = warmth.solved - start
        inverse = 1 / self.equations.diagonal
        both = self._at_ratings(probes)
        both *= self._at_ratings(rest)
        f = system.cells.shape[1]
        known = (system.cells.multiply(system.cells) @ inverse[:f])[system.cell]
        for column in system.columns.T:
            known += inverse[f + column]
        weights = both.sum(axis=1, dtype=np.float64) + known
        leverage = np.bincount(system.taster, weights=weights, minlength=system.tasters)
        diagonal = (probes * rest).sum(axis=1, dtype=np.float64) + inverse
        return diagonal, leverage.astype(np.float64)

    def _at_ratings(self, x: Floats) -> Floats:
        """As :meth:`System.at_ratings`, in single precision."""
        system, f = self.equations.system, self.light.cells.shape[1]
        out = (self.light.cells @ x[:f])[system.cell]
        for column in system.columns.T:
            out += x[f + column]
        return np.asarray(out)


def solver_for(equations: Equations, warmth: Warmth) -> Solver:
    if equations.system.size <= DENSE:
        return Solver(equations, warmth)
    return IterativeSolver(equations, warmth)
