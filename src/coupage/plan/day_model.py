"""The roast day as a mixed-integer program.

Batches of one coffee on one drum between two due times may all be charged alike without loss, so
the program counts them instead of naming each: no two plans differ by a mere swap, which is what
makes a day of sixty batches quick to prove. Setups carry over from one period to the next.

References
----------
.. [1] Pochet, Y. and Wolsey, L. A., Production Planning by Mixed Integer Programming, 2006:
   multi-item lot sizing with big buckets, setup carry-over, valid inequalities.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.plan.day import WayOutPrices
from coupage.plan.problem import Problem
from coupage.plan.program import Columns, Program

__all__ = ["DayModel", "Goal", "build"]

Floats = NDArray[np.float64]
GOALS = ("surplus", "batches", "odd charges", "changes")
Goal = str
_NONE = np.empty(0, dtype=np.intp)


@dataclass(slots=True)
class DayModel:
    """The program and where its variables stand; letters as in `Problem`."""

    problem: Problem
    program: Program
    batches: Columns  # (C, M, P)
    green: Columns  # (C, M, P) charged green in steps
    preferred: list[tuple[int, float, Columns]]  # drum, size, (C, P)
    setup: Columns  # (C, M, P) a change to this coffee
    carry: Columns  # (C, M, P) the drum holds this coffee as the period starts
    over: Columns  # (C,) roasted beyond need, expected
    short: Columns  # (O,) roasted kg left out of an order; these four empty unless bent
    overtime: Columns  # (M, D)
    buy: Columns  # (L,)
    late: Columns  # (P,)

    @property
    def unit(self) -> float:
        return self.problem.step or 1.0

    def goal(self, name: Goal) -> Floats:
        """Coefficients of a goal by its name."""
        program = self.program
        if name == "surplus":
            return program.vector((self.over, 1.0))
        if name == "batches":
            return program.vector((self.batches, 1.0))
        if name == "changes":
            return program.vector((self.setup, 1.0))
        if name == "odd charges":
            drums = sorted({m for m, _, _ in self.preferred})
            terms = [(self.batches[:, m], 1.0) for m in drums]
            return program.vector(*terms, *((counts, -1.0) for _, _, counts in self.preferred))
        if name == "short":
            return program.vector((self.short, 1.0))
        raise InputError(f"goals: {name!r} is not known; use {', '.join(GOALS)}")

    def _orders_per_period(self) -> Floats:
        counts = np.bincount(self.problem.period, minlength=self.problem.days.size)
        return counts[: self.late.size].astype(float)

    def price(self, prices: WayOutPrices) -> Floats:
        """Coefficients of what bending the limits costs."""
        return self.program.vector(
            (self.short, prices.short_kg),
            (self.overtime, prices.overtime_hour / 60),
            (self.buy, prices.green_kg),
            (self.late, prices.late_hour / 60 * self._orders_per_period()),
        )


def build(problem: Problem, bend: Collection[str] = ()) -> DayModel:
    """Fill the program; ``bend`` names limits that may give way: short, overtime, green, late."""
    program = Program()
    c, m, p = len(problem.coffees), len(problem.drums), problem.days.size
    unit = problem.step or 1.0
    most = _most_batches(problem, bend)
    largest = np.array([d.largest_kg for d in problem.drums])
    batches = program.add((c, m, p), most, whole=True)
    top = (
        most * np.floor(largest / unit + 1e-9)[None, :, None]
        if problem.step
        else most * (largest[None, :, None])
    )
    model = DayModel(
        problem=problem,
        program=program,
        batches=batches,
        green=program.add((c, m, p), top, whole=problem.step is not None),
        preferred=[
            (k, size, program.add((c, p), most[:, k] * wanted[:, None], whole=True))
            for k, size, wanted in _sizes(problem)
        ],
        setup=program.add((c, m, p), 1.0, whole=True),
        carry=program.add((c, m, p), 1.0, whole=True),
        over=program.add((c,)),
        short=program.add((len(problem.orders),), [o.kg for o in problem.orders])
        if "short" in bend
        else _NONE,
        overtime=program.add((m, p)) if "overtime" in bend else _NONE,
        buy=program.add((len(problem.lots),)) if "green" in bend else _NONE,
        late=program.add((p,)) if "late" in bend else _NONE,
    )
    used = program.add((c, m, p), (most > 0).astype(float), whole=True)
    _charges(model)
    _pins(model)
    _needs(model)
    _sequence(model, used, most)
    _hours(model)
    for lot in range(len(problem.lots)):
        if np.isfinite(problem.green_stock[lot]):
            use = np.broadcast_to(problem.green_use[lot][:, None, None] * unit, (c, m, p))
            extra = [(model.buy[lot], -1.0)] if "green" in bend else []
            program.row((model.green, use), *extra, at_most=problem.green_stock[lot])
    return model


def _most_batches(problem: Problem, bend: Collection[str]) -> Floats:
    """More batches than this of a coffee in a period serve nothing or find no time."""
    least = np.array([d.least_kg for d in problem.drums])
    need = problem.new_need[:, -1:] if problem.days.size else np.zeros((len(problem.coffees), 0))
    green = (need / problem.kept_safely.min(axis=1, initial=1.0)[:, None])[:, :, None]
    most = np.ceil(green / least[None, :, None] - 1e-9)
    for pin in problem.pinned:  # more than is needed, where the roaster wants it
        at = problem.coffees.index(pin.coffee), [d.name for d in problem.drums].index(pin.drum)
        most[at] += 1
    most = most * problem.allowed[:, :, None]
    most = np.repeat(most, problem.days.size, axis=2)
    if "overtime" not in bend and "late" not in bend:
        room = (problem.limit - problem.start[:, None] * (problem.days == 1))[None]
        with np.errstate(invalid="ignore"):
            fits = np.floor(room / problem.minutes[:, :, None] + 1e-9)
        most = np.minimum(most, np.maximum(fits, 0))
    return np.asarray(most)


def _sizes(problem: Problem) -> list[tuple[int, float, Floats]]:
    """Charges that are counted apart: drum, size, and 1 where a coffee may have it, (C,)."""
    sizes: list[tuple[int, float, Floats]] = []
    for k, drum in enumerate(problem.drums):
        pinned = {pin.charge_kg for pin in problem.pinned if pin.drum == drum.name}
        sizes += [(k, size, np.ones(len(problem.coffees))) for size in drum.preferred_kg]
        for size in sorted(pinned - set(drum.preferred_kg)):
            here = {p.coffee for p in problem.pinned if (p.drum, p.charge_kg) == (drum.name, size)}
            sizes.append((k, size, np.array([float(c in here) for c in problem.coffees])))
    return sizes


def _pins(model: DayModel) -> None:
    """As many batches of a pinned size as are pinned, somewhere in their day."""
    problem = model.problem
    for pin in set(problem.pinned):
        k = [d.name for d in problem.drums].index(pin.drum)
        c = problem.coffees.index(pin.coffee)
        counts = next(cols for m, size, cols in model.preferred if (m, size) == (k, pin.charge_kg))
        of_day = np.flatnonzero(problem.days == pin.day)
        model.program.row((counts[c, of_day], 1.0), at_least=problem.pinned.count(pin))


def _charges(model: DayModel) -> None:
    """Every batch between its drum's least and largest charge, preferred sizes as they are."""
    problem, unit = model.problem, model.unit
    for k, drum in enumerate(problem.drums):
        least, largest = drum.least_kg, drum.largest_kg
        if problem.step:
            least = np.ceil(least / unit - 1e-9) * unit
            largest = np.floor(largest / unit + 1e-9) * unit
        sizes = [(size, cols) for d, size, cols in model.preferred if d == k]
        for c in range(len(problem.coffees)):
            for p in range(problem.days.size):
                n, g = model.batches[c, k, p], model.green[c, k, p]
                fixed = [(cols[c, p], size) for size, cols in sizes]
                low = [(col, least - size) for col, size in fixed]
                high = [(col, largest - size) for col, size in fixed]
                model.program.row((g, unit), (n, -least), *low, at_least=0)
                model.program.row((g, unit), (n, -largest), *high, at_most=0)
                if fixed:
                    model.program.row((n, 1.0), *((col, -1.0) for col, _ in fixed), at_least=0)


def _needs(model: DayModel) -> None:
    """Roasted in time for what is due, and how much is made beyond it."""
    problem, program, unit = model.problem, model.program, model.unit
    bent = model.short.size > 0
    share = problem.need / np.maximum([o.kg for o in problem.orders], 1e-12)
    charge = np.array([d.largest_kg for d in problem.drums])
    largest = (charge * problem.allowed).max(axis=1, initial=0.0)
    need = problem.new_need
    for c in range(len(problem.coffees)):
        if not bent and (need[c] > 0).any():
            # Implied too: some drum must turn to this coffee by the time it is first due.
            first = int(np.argmax(need[c] > 0))
            fresh = [
                p for p in range(first + 1) if p == 0 or problem.days[p] != problem.days[p - 1]
            ]
            turns = model.setup[c, :, : first + 1], 1.0
            program.row(turns, (model.carry[c][:, fresh], 1.0), at_least=1)
        for p in range(problem.days.size):
            made = model.green[c, :, : p + 1]
            due = problem.due_by(p)
            spared = [(model.short[due], share[c, due])] if bent else []
            wanted = problem.need[c, due].sum() - problem.stock[c]
            if wanted > 0:
                kept = unit * problem.kept_safely[c, p]
                program.row((made, kept), *spared, at_least=wanted)
            if need[c, p] > 0 and not bent:
                # Whole batches: implied, but it spares the search most of its work.
                fewest = np.ceil(need[c, p] / problem.kept_safely[c, p] / largest[c] - 1e-9)
                program.row((model.batches[c, :, : p + 1], 1.0), at_least=fewest)
        spared = [(model.short, -share[c])] if bent else []
        made_in_all = (model.green[c], -unit * problem.kept[c])
        last = need[c, -1] if problem.days.size else 0.0
        program.row((model.over[c], 1.0), made_in_all, *spared, at_least=-last)


def _sequence(model: DayModel, used: Columns, most: Floats) -> None:
    """Which coffees a drum sees in a period, which one it carries over, and what changes cost."""
    problem, program = model.problem, model.program
    coffees, periods = range(len(problem.coffees)), range(problem.days.size)
    for m in range(len(problem.drums)):
        for p in periods:
            fresh = p == 0 or problem.days[p] != problem.days[p - 1]
            goes_on = p + 1 < problem.days.size and problem.days[p + 1] == problem.days[p]
            program.row((model.carry[:, m, p], 1.0), at_most=1)
            for c in coffees:
                n, y = model.batches[c, m, p], used[c, m, p]
                carry, setup = model.carry[c, m, p], model.setup[c, m, p]
                program.row((n, 1.0), (y, -most[c, m, p]), at_most=0)
                program.row((setup, 1.0), (y, -1.0), (carry, 1.0), at_least=0)
                if goes_on:
                    later = model.carry[c, m, p + 1]
                    program.row((later, 1.0), (y, -1.0), (carry, -1.0), at_most=0)
            if fresh and p == 0 and problem.loaded[m] >= 0:
                # The drum holds a coffee already: any other one costs a change.
                for c in coffees:
                    if c != problem.loaded[m]:
                        program.row((model.carry[c, m, p], 1.0), at_most=0)
            if goes_on:
                # A coffee is carried in and out again only when no other comes between.
                stay = program.add((len(problem.coffees),), 1.0)
                for c in coffees:
                    pair = (model.carry[c, m, p], 1.0), (model.carry[c, m, p + 1], 1.0)
                    program.row(*pair, (stay[c], -1.0), at_most=1)
                    others = np.delete(stay, c)
                    program.row((used[c, m, p], 1.0), (others, 1.0), at_most=1)
    _ranks(model, used)


def _ranks(model: DayModel, used: Columns) -> None:
    """On one day no coffee of a lower rank comes in a later period than one of a higher rank."""
    problem = model.problem
    for p in range(problem.days.size):
        for q in range(p + 1, problem.days.size):
            if problem.days[p] != problem.days[q]:
                continue
            for a in range(len(problem.coffees)):
                for b in np.flatnonzero(problem.rank < problem.rank[a]):
                    for m in range(len(problem.drums)):
                        pair = (used[a, m, p], 1.0), (used[b, m, q], 1.0)
                        model.program.row(*pair, at_most=1)


def _hours(model: DayModel) -> None:
    """What is due by a time has dropped by then: batches and changes of the day so far."""
    problem = model.problem
    for m, drum in enumerate(problem.drums):
        for p in range(problem.days.size):
            if not np.isfinite(problem.limit[m, p]):
                continue
            so_far = [q for q in range(p + 1) if problem.days[q] == problem.days[p]]
            busy = np.broadcast_to(problem.minutes[:, m, None], (len(problem.coffees), len(so_far)))
            bent = []
            if model.late.size and problem.due[m, p]:
                bent.append((model.late[p], -1.0))
            if model.overtime.size and not problem.due[m, p]:
                first = so_far[0]  # one overtime a day and drum, kept in its first period's place
                bent.append((model.overtime[m, first], -1.0))
            model.program.row(
                (model.batches[:, m, so_far], busy),
                (model.setup[:, m, so_far], drum.change_minutes),
                *bent,
                at_most=problem.limit[m, p] - problem.start[m] * (problem.days[p] == 1),
            )


def chosen_goals(goals: Sequence[str], model: DayModel) -> list[Floats]:
    """Goals as coefficients; the one about odd charges only where a drum prefers some."""
    names = [g for g in goals if g != "odd charges" or model.preferred]
    return [model.goal(name) for name in names]
