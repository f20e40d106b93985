"""Posterior mode of the standard deviations, for tables too large to integrate them out.

Newton steps with the average information [1]_ in the same coordinates as the small tables use, so
that both find the same mode. A few points around it stand for the doubt about it: with six tasters
the spread among tasters stays in doubt however many cups they rate.

References
----------
.. [1] A. R. Gilmour, R. Thompson and B. R. Cullis (1995), Biometrics 51, 1440-1450.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupage.panel.priors import Priors, from_normal, log_slope, to_normal
from coupage.panel.solvers import Solver, Warmth, probes, solver_for
from coupage.panel.system import DENSE, Equations, System

__all__ = ["Mode", "Start", "find_mode"]

Floats = NDArray[np.float64]

DOUBTFUL = 0.1
NEAR = 0.2
DRAWS = 256
# There an effect's sd is 0.0003 of its scale: nothing lies beyond but rounding errors.
LOWEST = -3.5


@dataclass(frozen=True, slots=True)
class Mode:
    """Standard deviations at the mode and the effects given them.

    ``v`` are the coordinates of the estimated terms and the noise, ``information`` the negative
    Hessian there; ``ratio`` (T,) own noise over common noise, ``freedom`` (T,) degrees of freedom
    that tell of it; ``points`` equally likely points
    that stand for the doubt about the mode, ``draws`` coordinates drawn from it; ``converged``
    whether the last step met the goal.
    """

    v: Floats
    information: Floats
    terms: Floats
    noise: float
    ratio: Floats
    freedom: Floats
    points: tuple[Point, ...]
    draws: Floats
    steps: int
    converged: bool

    def as_start(self, system: System) -> Start:
        """Where another attribute of the same table may begin."""
        names = [n for n, own in zip(system.names, system.estimated, strict=True) if own]
        terms = dict(zip(names, self.terms.tolist(), strict=True))
        return Start(terms, self.noise, np.ones_like(self.ratio))


@dataclass(frozen=True, slots=True)
class Point:
    """Standard deviations near the mode, and the ``effects`` (p,), from the prior mean, there."""

    v: Floats
    equations: Equations
    effects: Floats


@dataclass(frozen=True, slots=True)
class Start:
    """Where a search may begin: sds of the terms by name, of the noise, ratios of the tasters."""

    terms: dict[str, float]
    noise: float
    ratio: Floats


@dataclass(slots=True)
class _State:
    """Where the search stands."""

    v: Floats
    log_ratio: Floats
    effects: Floats
    warmth: Warmth


@dataclass(frozen=True, slots=True)
class _Slope:
    gradient: Floats
    information: Floats
    raw: Floats
    by_taster: Floats
    freedom: Floats


def find_mode(
    system: System,
    ratings: Floats,
    priors: Priors,
    *,
    flat: frozenset[str] = frozenset(),
    flat_scales: bool = False,
    start: Start | None = None,
    seed: int = 0,
    goal: float = 2e-3,
) -> Mode:
    """Search the mode for one attribute's ``ratings`` (n,).

    Parameters
    ----------
    flat
        Terms whose effects get a flat prior (fixed effects).
    flat_scales
        Flat priors on the logarithms of the standard deviations: with ``flat`` effects this is
        restricted maximum likelihood.
    start
        Standard deviations of nearly the same table, to begin from.
    goal
        Largest step in any coordinate at which the search ends; where traces are estimated at
        least 0.01 and a tenth of the doubt that the table leaves.
    """
    free = system.estimated & ~np.isin(system.names, list(flat))
    y = ratings - priors.mean
    m = int(free.sum())
    state = _State(
        v=_first(system, free, priors, start),
        log_ratio=np.zeros(system.tasters) if start is None else np.log(start.ratio),
        effects=np.zeros(system.size),
        warmth=Warmth(probes(system, seed)),
    )
    model = _Model(system, priors, free, flat, flat_scales, y)
    converged, steps, largest = False, 0, np.inf
    estimated = system.size > DENSE
    goal = max(goal, 0.01) if estimated else goal
    slope = model.slope(state)
    damping, before = np.ones(m + 1), np.zeros(m + 1)
    while not converged and steps < 60:
        if steps:
            # Traced by signs, each piece of information costs as much as a slope: close to the mode
            # the last one will do.
            near = estimated and largest < NEAR
            slope = model.slope(state, slope.raw if near else None)
        steps += 1
        step = _step(slope, state.v)
        # The average information is too flat where the data say little: steps that swing are cut.
        damping = np.where(step * before < 0, 0.5 * damping, np.minimum(1.3 * damping, 1.0))
        before = step
        step = step * damping
        step *= min(1.0, 1.0 / max(float(np.abs(step).max()), 1e-12))
        moved = np.clip(state.v + step, LOWEST, 40) - state.v
        state.v = state.v + moved
        turn = model.turn_tasters(state, slope) if model.separate else 0.0
        largest = max(float(np.abs(moved).max()), turn)
        # Far from the mode rough traces will do.
        state.warmth.tolerance = float(np.clip(0.02 * largest, 3e-4, 0.02))
        if estimated:
            # A tenth of the doubt the data leave is near enough for an estimated slope.
            small = np.abs(moved) < np.maximum(goal, 0.1 * np.diag(slope.information) ** -0.5)
            converged = bool(small.all()) and turn < goal
        else:
            converged = largest < goal
    terms, noise = model.scales(state.v)
    points, draws = model.around(state, slope)
    return Mode(
        v=state.v,
        information=slope.information,
        terms=terms,
        noise=noise,
        ratio=np.exp(state.log_ratio),
        freedom=slope.freedom,
        points=points,
        draws=draws,
        steps=steps,
        converged=converged,
    )


def _step(slope: _Slope, v: Floats) -> Floats:
    """Newton step; coordinates that press against the bound are left out of it."""
    inside = np.flatnonzero((v > LOWEST) | (slope.gradient > 0))
    step = np.zeros_like(v)
    bend = slope.information[np.ix_(inside, inside)]
    step[inside] = np.linalg.solve(bend, slope.gradient[inside])
    return step


def _leaning(pulls: list[float], reach: float) -> tuple[Floats, Floats]:
    """Density along a direction from its slopes at -reach and reach; at 0 the slope is 0."""
    bend = min((pulls[1] - pulls[0]) / (2 * reach), -1e-12)
    lean = (pulls[1] + pulls[0]) / (2 * reach**2)
    wide = 4 * (-bend) ** -0.5
    # A cubic turns up again somewhere; nothing beyond that point is meant.
    turn = abs(bend / lean) if lean else np.inf
    x = np.linspace(max(-wide, -turn), min(wide, turn), 401)
    density = np.exp(bend * x**2 / 2 + lean * x**3 / 3)
    return x, density / density.sum()


def _first(system: System, free: NDArray[np.bool_], priors: Priors, start: Start | None) -> Floats:
    """Coordinates to begin from."""
    v = np.full(int(free.sum()) + 1, -0.3)
    if start is not None:
        names = [n for n, own in zip(system.names, free.tolist(), strict=True) if own]
        scale = np.append(system.sds[free], priors.noise)
        sds = np.array([*(start.terms.get(n, 0.0) for n in names), start.noise])
        v = np.where(sds > 0, np.maximum(to_normal(np.maximum(sds / scale, 1e-3)), -3), v)
    return v


class _Model:
    """Gradient and average information of the log posterior of the standard deviations."""

    def __init__(
        self,
        system: System,
        priors: Priors,
        free: NDArray[np.bool_],
        flat: frozenset[str],
        flat_scales: bool,
        y: Floats,
    ) -> None:
        self.system, self.priors, self.free, self.y = system, priors, free, y
        self.flat, self.flat_scales = flat, flat_scales
        self.scale = np.append(system.sds[free], priors.noise)
        self.separate = priors.noise_ratio > 0 and system.tasters > 1
        self.counts = np.bincount(system.taster, minlength=system.tasters).astype(np.float64)

    def scales(self, v: Floats) -> tuple[Floats, float]:
        sds = self.scale * from_normal(v)
        return sds[:-1], float(sds[-1])

    def equations(self, state: _State) -> tuple[Equations, Floats]:
        terms, noise = self.scales(state.v)
        sds = self.system.sds.copy()
        sds[self.free] = terms
        precision = np.zeros(self.system.size)
        for name, part, sd in zip(self.system.names, self.system.slices, sds, strict=True):
            precision[part] = 0.0 if name in self.flat else 1 / max(sd, 1e-6) ** 2
        variance = np.square(noise * np.exp(state.log_ratio)) + self.priors.floor
        variance = np.maximum(variance, 1e-12)
        return Equations(self.system, 1 / variance, precision), variance

    def slope(self, state: _State, known: Floats | None = None) -> _Slope:
        """Gradient and information at a state; ``known`` is information from close by."""
        equations, variance = self.equations(state)
        weight = 1 / variance[self.system.taster]
        b = self.system.from_ratings(weight * self.y)[:, None]
        solver = solver_for(equations, state.warmth)
        state.effects = solver.solve(b, state.effects[:, None])[:, 0]
        residual = self.y - self.system.at_ratings(state.effects[:, None])[:, 0]
        diagonal, leverage = solver.traces()
        gradient = []
        for part, sd in zip(self._parts(), self.scales(state.v)[0].tolist(), strict=True):
            own = state.effects[part]
            gradient.append((diagonal[part].sum() + own @ own) / sd**2 - len(own))
        rounding = 1 - self.priors.floor / variance
        square = np.bincount(
            self.system.taster, weights=np.square(residual), minlength=self.system.tasters
        )
        by_taster = ((square + leverage) / variance - self.counts) * rounding
        gradient.append(float(by_taster.sum()))
        raw = known
        if raw is None:
            noise = 2 * rounding[self.system.taster] * residual
            raw = self._average_information(state, noise, weight, solver)
        pull, bend = self._in_coordinates(state, np.array(gradient), raw)
        freedom = np.maximum(self.counts - leverage / variance, 1.0)
        return _Slope(pull, bend, raw, by_taster, freedom)

    def _parts(self) -> list[slice]:
        return [self.system.slices[k] for k in np.flatnonzero(self.free).tolist()]

    def around(self, state: _State, slope: _Slope) -> tuple[tuple[Point, ...], Floats]:
        """Points that stand for the doubt about the mode, and draws of the coordinates.

        Along each principal direction of the information that the data leave in doubt, the slope
        at two further points gives the lean of the density; the points [1]_ have the mean and
        spread of the leaning densities. Other directions are held at the mode.

        References
        ----------
        .. [1] I. Arasaratnam and S. Haykin (2009), IEEE Trans. Automatic Control 54, 1254-1269,
           section IV (third-degree cubature).
        """
        values, vectors = np.linalg.eigh(slope.information)
        sds = values**-0.5
        # Flat priors ask for the classical estimate alone.
        doubtful = np.flatnonzero((sds > DOUBTFUL) & (not self.flat_scales))
        draws = np.random.default_rng(5).standard_normal((DRAWS, len(sds))) * sds
        centre, spread = state.v.copy(), sds.copy()
        for j in doubtful.tolist():
            axis = vectors[:, j]
            pulls = []
            for side in (-1.2, 1.2):
                near = replace(state, v=np.clip(state.v + side * sds[j] * axis, LOWEST, 40))
                pulls.append(float(axis @ self.slope(near, slope.raw).gradient))
            x, chance = _leaning(pulls, 1.2 * float(sds[j]))
            mean = float(x @ chance)
            centre += mean * axis
            spread[j] = float(np.sqrt(np.square(x - mean) @ chance))
            levels = (np.random.default_rng([5, j]).permutation(DRAWS) + 0.5) / DRAWS
            draws[:, j] = np.interp(levels, np.cumsum(chance), x)
        reach = np.sqrt(len(doubtful))
        shifts = [s * reach * spread[j] * vectors[:, j] for j in doubtful for s in (1, -1)]
        points = []
        for shift in shifts or [np.zeros_like(centre)]:
            near = replace(state, v=np.clip(centre + shift, LOWEST, 40))
            equations, variance = self.equations(near)
            weight = 1 / variance[self.system.taster]
            b = self.system.from_ratings(weight * self.y)[:, None]
            start = state.effects[:, None]
            points.append(Point(near.v, equations, equations.solve(b, start=start)[:, 0]))
        return tuple(points), state.v + draws @ vectors.T

    def turn_tasters(self, state: _State, slope: _Slope) -> float:
        """Move the tasters' own noise; the largest move."""
        rate = self.priors.noise_ratio**2
        bend = 2 * slope.freedom + 1 / rate
        turn = (slope.by_taster - state.log_ratio / rate) / bend
        # What all share is the common noise's own step.
        turn = np.clip(turn - bend @ turn / bend.sum(), -0.5, 0.5)
        state.log_ratio = state.log_ratio + turn
        # Common noise and ratios can trade a factor that the ratings do not see: settle it by
        # their priors alone.
        chain = float(log_slope(state.v[-1:], from_normal(state.v[-1:]))[0])
        pull = state.log_ratio.sum() / rate - state.v[-1] / chain
        shift = pull / (self.system.tasters / rate + 1 / chain**2)
        noise = self.scales(state.v)[1] * np.exp(shift)
        state.v[-1] = to_normal(np.array(noise / self.priors.noise))
        state.log_ratio = state.log_ratio - shift
        return float(np.abs(turn).max())

    def _average_information(
        self, state: _State, noise: Floats, weight: Floats, solver: Solver
    ) -> Floats:
        """By the logarithms of the standard deviations, the noise last."""
        variates = []
        for part in self._parts():
            alone = np.zeros((self.system.size, 1))
            alone[part, 0] = state.effects[part]
            variates.append(2 * self.system.at_ratings(alone)[:, 0])
        q = np.column_stack([*variates, noise])
        weighted = weight[:, None] * q
        b = np.column_stack([self.system.from_ratings(column) for column in weighted.T])
        inside = solver.roughly(b)
        return np.asarray((q.T @ weighted - b.T @ inside) / 2)

    def _in_coordinates(
        self, state: _State, gradient: Floats, information: Floats
    ) -> tuple[Floats, Floats]:
        unit = from_normal(state.v)
        chain = log_slope(state.v, unit)
        pull = chain * gradient
        bend = chain[:, None] * information * chain
        if self.flat_scales:
            # Keeps a standard deviation that wants to vanish from leaping.
            return pull, bend + 1e-8 * np.eye(len(bend))
        # The prior's own bend, and that of the coordinates where it adds to the bowl.
        turn = chain * (unit * unit * chain - state.v - chain)
        return pull - state.v, bend + np.diag(1 + np.maximum(-gradient * turn, 0))
