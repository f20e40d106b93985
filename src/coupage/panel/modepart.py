"""Beliefs of one attribute around the posterior mode, answered by solving equations when asked."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.panel.gaussians import GaussianMixture, Line
from coupage.panel.mode import Mode, Point
from coupage.panel.parts import (
    Arrays,
    Doubt,
    IntegratedPart,
    TasterFacts,
    register,
    store_common,
)
from coupage.panel.priors import Priors, from_normal, log_slope
from coupage.panel.system import DENSE, Equations, System

__all__ = ["ModePart", "biases", "doubt_at_mode"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

_AT_ONCE = 32


@dataclass(frozen=True, slots=True)
class ModePart:
    """A Gaussian for each point around the mode; covariances are solved for, never formed.

    ``shift`` (t,) is the prior mean of the coefficients.
    """

    points: tuple[Point, ...]
    shift: Floats
    pair_variance: Floats
    doubt: Doubt
    tasters: TasterFacts

    @property
    def _target(self) -> sparse.csr_array:
        return self.points[0].equations.system.target

    @property
    def _weights(self) -> Floats:
        return np.full(len(self.points), 1 / len(self.points))

    def block(self, columns: Codes) -> GaussianMixture:
        u = self._target[columns]
        means = np.array([self.shift[columns] + u @ point.effects for point in self.points])
        covariances = np.empty((len(self.points), len(columns), len(columns)))
        for k, point in enumerate(self.points):
            for i in range(0, len(columns), _AT_ONCE):
                part = slice(i, i + _AT_ONCE)
                covariances[k, :, part] = u @ point.equations.solve(u[part].toarray().T)
        covariances = (covariances + np.swapaxes(covariances, 1, 2)) / 2
        return GaussianMixture(self._weights, means, covariances)

    def line(self, features: sparse.csr_array, unseen: Floats) -> Line:
        used = np.unique(features.indices).astype(np.int64)
        if len(used) <= features.shape[0]:
            # Many questions about few coefficients: solve for the coefficients once.
            inner = self.block(used)
            whole = IntegratedPart(
                inner.weights,
                inner.means,
                inner.covariances,
                self.pair_variance,
                self.doubt,
                self.tasters,
            )
            return whole.line(sparse.csr_array(features[:, used]), unseen)
        u = sparse.csr_array(features @ self._target)
        means = np.stack([features @ self.shift + u @ p.effects for p in self.points], axis=1)
        variance = unseen[:, None] * self.pair_variance
        for k, point in enumerate(self.points):
            for i in range(0, u.shape[0], _AT_ONCE):
                dense = u[i : i + _AT_ONCE].toarray().T
                solved = point.equations.solve(dense)
                variance[i : i + _AT_ONCE, k] += np.einsum("pk,pk->k", dense, solved)
        return Line(self._weights, means, np.sqrt(np.maximum(variance, 0)))

    def restrict(self, columns: Codes) -> IntegratedPart:
        inner = self.block(columns)
        return IntegratedPart(
            inner.weights,
            inner.means,
            inner.covariances,
            self.pair_variance,
            self.doubt,
            self.tasters,
        )

    def store(self) -> tuple[dict[str, Any], Arrays]:
        system = self.points[0].equations.system
        facts, arrays = store_common(self.doubt, self.tasters)
        facts |= {
            "kind": "mode",
            "points": len(self.points),
            "terms": system.names,
            "widths": [part.stop - part.start for part in system.slices],
            "people": system.tasters,
        }
        for name in ("sds", "estimated", "owner", "cell", "taster", "columns"):
            arrays[name] = getattr(system, name)
        for name in ("cells", "counts", "crossed", "target"):
            table = getattr(system, name)
            facts[f"{name}_shape"] = table.shape
            for piece in ("data", "indices", "indptr"):
                arrays[f"{name}_{piece}"] = getattr(table, piece)
        for k, point in enumerate(self.points):
            own = point.equations
            arrays |= {f"weight{k}": own.weight, f"precision{k}": own.precision}
            arrays |= {f"effects{k}": point.effects, f"v{k}": point.v}
        return facts, arrays | {"shift": self.shift, "pair_variance": self.pair_variance}


def _load(facts: dict[str, Any], arrays: Arrays, doubt: Doubt, tasters: TasterFacts) -> ModePart:
    ends = np.cumsum([0, *facts["widths"]]).tolist()

    def table(name: str) -> sparse.csr_array:
        pieces = tuple(arrays[f"{name}_{piece}"] for piece in ("data", "indices", "indptr"))
        return sparse.csr_array(pieces, shape=tuple(facts[f"{name}_shape"]))

    system = System(
        names=tuple(facts["terms"]),
        slices=tuple(slice(a, b) for a, b in pairwise(ends)),
        sds=arrays["sds"],
        estimated=arrays["estimated"],
        cells=table("cells"),
        counts=table("counts"),
        crossed=table("crossed"),
        owner=arrays["owner"],
        cell=arrays["cell"],
        taster=arrays["taster"],
        columns=arrays["columns"],
        tasters=facts["people"],
        target=table("target"),
    )
    points = []
    for k in range(facts["points"]):
        equations = Equations(system, arrays[f"weight{k}"], arrays[f"precision{k}"])
        points.append(Point(arrays[f"v{k}"], equations, arrays[f"effects{k}"]))
    return ModePart(tuple(points), arrays["shift"], arrays["pair_variance"], doubt, tasters)


register("mode", _load)


def doubt_at_mode(mode: Mode, system: System, priors: Priors) -> Doubt:
    """Standard deviations drawn around their mode."""
    names = tuple(np.array(system.names)[system.estimated].tolist())
    scale = np.append(system.sds[system.estimated], priors.noise)
    sds = scale * from_normal(np.clip(mode.draws, -7, 40))
    terms, noise = sds[:, :-1], sds[:, -1]
    own = noise[:, None] * mode.ratio
    if priors.noise_ratio > 0 and system.tasters > 1:
        rng, rate = np.random.default_rng(6), priors.noise_ratio**2
        # The draws so far move the noise of all together. Each taster's own is in doubt besides,
        own = own * np.exp(rng.standard_normal(own.shape) * (2 * mode.freedom + 1 / rate) ** -0.5)
        # and what is common to all and what their own, only the priors tell.
        unit = from_normal(mode.v[-1:])
        bend = system.tasters / rate + float(log_slope(mode.v[-1:], unit)[0]) ** -2
        noise = noise * np.exp(rng.standard_normal(len(noise)) * bend**-0.5)
    return Doubt(names, terms, noise, own, 0.0, mode.steps)


def biases(mode: Mode, taster: slice) -> tuple[Floats, Floats]:
    """Mean and standard deviation of tasters' biases.

    For large tables the standard deviation leaves out the small part that stems from doubt in
    other effects than the common levels of the terms.
    """
    means = np.array([point.effects[taster] for point in mode.points])
    variances = []
    for point in mode.points:
        equations = point.equations
        size, width = equations.system.size, taster.stop - taster.start
        if size <= DENSE:
            unit = np.zeros((size, width))
            unit[np.arange(taster.start, taster.stop), np.arange(width)] = 1
            variances.append(np.diagonal(equations.solve(unit)[taster]))
        else:
            inside = equations.basis[taster]
            level = np.einsum("ti,ij,tj->t", inside, equations.inner, inside)
            variances.append(1 / equations.diagonal[taster] + level)
    return means.mean(axis=0), np.sqrt(np.mean(variances, axis=0) + means.var(axis=0))
