"""A roast day as arrays: what the flexible arguments of `roast_day` come down to.

Letters: C coffees (what a drum is charged with), M drums, P periods (between due times), O orders,
L lots of green.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from coupage.errors import InputError
from coupage.plan.day import Drum, Order
from coupage.roast import green_shares

__all__ = [
    "Demand",
    "Drums",
    "Loss",
    "Losses",
    "Pin",
    "Problem",
    "as_drums",
    "as_loss",
    "as_orders",
    "read",
]

Floats = NDArray[np.float64]
Demand = Mapping[str, float] | Sequence[Order]
Drums = Drum | Sequence[Drum]
Recipes = Mapping[str, Mapping[str, float]]


@runtime_checkable
class Expected(Protocol):
    """A loss with doubt, such as `coupage.roast.ExpectedLoss`."""

    @property
    def mean(self) -> float: ...
    @property
    def sd(self) -> float: ...
    @property
    def batch_sd(self) -> float: ...


Losses = Mapping[str, float | Expected]


@dataclass(frozen=True, slots=True)
class Loss:
    mean: float
    sd: float = 0.0
    batch_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Pin:
    """A batch that must stand in the plan: its coffee, drum, charge and day."""

    coffee: str
    drum: str
    charge_kg: float
    day: int = 1


@dataclass(frozen=True, slots=True)
class Problem:
    coffees: tuple[str, ...]
    drums: tuple[Drum, ...]
    orders: tuple[Order, ...]
    lots: tuple[str, ...]
    days: NDArray[np.intp]  # (P,) day of each period
    limit: Floats  # (M, P) minute by which a period's batches must be out
    due: NDArray[np.bool_]  # (M, P) whether an order's due time sets that limit, not the hours
    period: NDArray[np.intp]  # (O,) period of each order
    need: Floats  # (C, O) roasted kg that an order takes, after ready blends in stock
    stock: Floats  # (C,) roasted kg that the orders can use
    kept: Floats  # (C,) roasted per green, expected
    kept_safely: Floats  # (C, P) roasted per green to count on, for what is due up to a period
    green_use: Floats  # (L, C) green of a lot per green charged
    green_stock: Floats  # (L,) kg, inf where there is no limit
    rank: NDArray[np.intp]  # (C,) low ones are roasted first
    allowed: NDArray[np.bool_]  # (C, M)
    minutes: Floats  # (C, M)
    start: Floats  # (M,) minute from which a drum is free on day 1
    loaded: NDArray[np.intp]  # (M,) coffee in the drum at the start of day 1, -1 for none
    step: float | None  # charges are whole multiples of it
    pinned: tuple[Pin, ...] = ()

    def due_by(self, p: int) -> NDArray[np.bool_]:
        """Which orders are due in period p or before, shape (O,)."""
        return np.asarray(self.period <= p)

    @property
    def new_need(self) -> Floats:
        """Roasted kg to make up to each period, (C, P)."""
        sums = [self.need[:, self.due_by(p)].sum(axis=1) for p in range(self.days.size)]
        return np.maximum(np.array(sums).T - self.stock[:, None], 0.0)


def as_orders(demand_kg: Demand) -> tuple[Order, ...]:
    """Orders from blend -> kg, or as they are; titles are told apart."""
    if isinstance(demand_kg, Mapping):
        orders = tuple(Order(blend, float(kg)) for blend, kg in demand_kg.items())
    else:
        orders = tuple(demand_kg)
    for order in orders:
        if not (np.isfinite(order.kg) and order.kg >= 0):
            raise InputError(f"demand_kg: {order.title!r} asks {order.kg} kg; give 0 or more")
        if order.day < 1 or (order.due_hours is not None and not order.due_hours > 0):
            raise InputError(
                f"demand_kg: {order.title!r} is due on day {order.day} after {order.due_hours} h; "
                "days count from 1, hours are above 0"
            )
    titles = [o.title for o in orders]
    twice = {t for t in titles if titles.count(t) > 1}
    if twice:
        raise InputError(
            f"demand_kg: several orders are called {sorted(twice)[0]!r}; name each Order"
        )
    return orders


def as_drums(drum: Drums) -> tuple[Drum, ...]:
    drums = (drum,) if isinstance(drum, Drum) else tuple(drum)
    names = [d.name for d in drums]
    if not drums or len(set(names)) < len(names):
        raise InputError(f"drum: {names or 'none'} came; give at least one, each with its own name")
    return drums


def as_loss(losses: Losses, coffee: str) -> Loss:
    if coffee not in losses:
        raise InputError(f"losses: {coffee!r} is missing; give its loss as a fraction")
    given = losses[coffee]
    if isinstance(given, Expected):
        loss = Loss(float(given.mean), float(given.sd), float(given.batch_sd))
    else:
        loss = Loss(float(given))
    if not (0 <= loss.mean < 1 and loss.sd >= 0 and loss.batch_sd >= 0):
        raise InputError(
            f"losses: {coffee!r} has {given}; give a fraction from 0 up to 1, such as 0.16"
        )
    return loss


def read(
    demand_kg: Demand,
    recipes: Recipes,
    losses: Losses,
    drum: Drums,
    *,
    stock_roasted_kg: Mapping[str, float] | None,
    stock_green_kg: Mapping[str, float] | None,
    hours: float | Mapping[str, float] | None,
    safety: float,
    ranks: Mapping[str, int] | None,
    pre_roast: Recipes | None,
    charge_step_kg: float | None,
    start: Floats | None = None,
    loaded: Sequence[str] = (),
    lot_of: Mapping[str, str] | None = None,
    pinned: Sequence[Pin] = (),
) -> Problem:
    """Check every argument and turn them into arrays."""
    orders, drums = as_orders(demand_kg), as_drums(drum)
    _check_recipes(orders, recipes)
    ordered = {c for o in orders for c, s in recipes[o.blend].items() if s > 0}
    coffees = tuple(sorted(ordered | {pin.coffee for pin in pinned}))
    mixes, from_lot = pre_roast or {}, lot_of or {}
    lots = tuple(sorted({from_lot.get(x, x) for c in coffees for x in mixes.get(c, {c: 1.0})}))
    days, limit, due, period = _periods(orders, drums, hours)
    need, stock = _needs(orders, recipes, coffees, stock_roasted_kg or {}, period)
    green_use = np.zeros((len(lots), len(coffees)))
    loss_of = []
    for j, coffee in enumerate(coffees):
        mix = mixes.get(coffee, {coffee: 1.0})
        parts = [as_loss(losses, lot) for lot in mix]
        green = green_shares(list(mix.values()), [p.mean for p in parts])
        np.add.at(green_use[:, j], [lots.index(from_lot.get(lot, lot)) for lot in mix], green)
        # Independent losses in one drum: the mix loses their mean, its doubts add as squares.
        loss_of.append(
            Loss(
                float(green @ [p.mean for p in parts]),
                float(np.hypot.reduce(green * [p.sd for p in parts])),
                float(np.hypot.reduce(green * [p.batch_sd for p in parts])),
            )
        )
    green_stock = np.full(len(lots), np.inf)
    if stock_green_kg is not None:
        green_stock = np.array([_mass("stock_green_kg", stock_green_kg, lot) for lot in lots])
    allowed = np.array([[not d.coffees or c in d.coffees for d in drums] for c in coffees])
    for coffee, fits in zip(coffees, allowed.reshape(len(coffees), len(drums)), strict=True):
        if not fits.any():
            raise InputError(f"drum: no drum may roast {coffee!r}; add it to one's coffees")
    problem = Problem(
        coffees=coffees,
        drums=drums,
        orders=orders,
        lots=lots,
        days=days,
        limit=limit,
        due=due,
        period=period,
        need=need,
        stock=stock,
        kept=np.array([1 - x.mean for x in loss_of]),
        kept_safely=np.empty((len(coffees), days.size)),
        green_use=green_use,
        green_stock=green_stock,
        rank=np.array([(ranks or {}).get(c, 0) for c in coffees], dtype=np.intp),
        allowed=allowed.reshape(len(coffees), len(drums)),
        minutes=np.array([[d.minutes_for(c) if d.coffees == frozenset() or c in d.coffees else 1.0
                           for d in drums] for c in coffees]).reshape(len(coffees), len(drums)),
        start=np.zeros(len(drums)) if start is None else start,
        loaded=np.array(
            [coffees.index(c) if c in coffees else -1 for c in loaded] or [-1] * len(drums),
            dtype=np.intp,
        ),
        step=charge_step_kg,
        pinned=tuple(pinned),
    )  # fmt: skip
    _check_step(drums, charge_step_kg)
    _check_pins(problem)
    problem.kept_safely[:] = _kept_safely(problem, loss_of, safety)
    return problem


def _check_recipes(orders: Sequence[Order], recipes: Recipes) -> None:
    for blend in sorted({o.blend for o in orders}):
        if blend not in recipes:
            raise InputError(f"recipes: {blend!r} is ordered but has no recipe; add one")
        shares = list(recipes[blend].values())
        if not shares or min(shares) < 0 or abs(sum(shares) - 1) > 1e-9:
            raise InputError(
                f"recipes: {blend!r} sums to {sum(shares):.6g}; its roasted shares must be "
                "fractions that sum to 1"
            )


def _check_step(drums: Sequence[Drum], step: float | None) -> None:
    if step is None:
        return
    if not step > 0:
        raise InputError(f"charge_step_kg: {step} must be above 0, such as 0.1")
    for drum in drums:
        if np.floor(drum.largest_kg / step + 1e-9) < np.ceil(drum.least_kg / step - 1e-9):
            raise InputError(f"charge_step_kg: no multiple of {step} kg fits drum {drum.name!r}")
        for size in drum.preferred_kg:
            if abs(size / step - round(size / step)) > 1e-6:
                raise InputError(
                    f"charge_step_kg: the preferred {size} kg is no multiple of {step} kg"
                )


def _check_pins(problem: Problem) -> None:
    drums = {d.name: d for d in problem.drums}
    for pin in problem.pinned:
        drum = drums.get(pin.drum)
        if drum is None or not drum.least_kg <= pin.charge_kg <= drum.largest_kg:
            raise InputError(
                f"pinned: {pin.charge_kg} kg of {pin.coffee!r} is no charge for {pin.drum!r}; "
                "name a drum of the plan and a charge that it takes"
            )
        if drum.coffees and pin.coffee not in drum.coffees:
            raise InputError(f"pinned: {pin.drum!r} may not roast {pin.coffee!r}")
        if pin.day not in problem.days:
            raise InputError(f"pinned: {pin.coffee!r} on day {pin.day}, when nothing is due")
        if problem.step:
            steps = pin.charge_kg / problem.step
            if abs(steps - round(steps)) > 1e-6:
                raise InputError(
                    f"pinned: {pin.charge_kg} kg is no multiple of {problem.step} kg, the step of "
                    "all charges"
                )


def _mass(name: str, masses: Mapping[str, float], key: str) -> float:
    """Kilograms of a thing; what is not listed is not there."""
    kg = float(masses.get(key, 0.0))
    if not (np.isfinite(kg) and kg >= 0):
        raise InputError(f"{name}: {key!r} has {kg} kg; give 0 or more")
    return kg


def _periods(
    orders: Sequence[Order], drums: Sequence[Drum], hours: float | Mapping[str, float] | None
) -> tuple[NDArray[np.intp], Floats, NDArray[np.bool_], NDArray[np.intp]]:
    """Cut each day at its due times; gives days, limits, whose limit it is, and orders' periods."""
    ends = np.full(len(drums), np.inf)
    for m, drum in enumerate(drums):
        given = hours.get(drum.name) if isinstance(hours, Mapping) else hours
        if given is not None:
            ends[m] = 60 * float(given)
        if not ends[m] > 0:
            raise InputError(f"hours: {given} for drum {drum.name!r}; give hours above 0")
    keys = [(o.day, np.inf if o.due_hours is None else 60 * o.due_hours) for o in orders]
    cuts = sorted(set(keys)) or [(1, np.inf)]
    due_minute = np.array([minute for _, minute in cuts])
    limit = np.minimum(ends[:, None], due_minute[None, :])
    days = np.array([day for day, _ in cuts], dtype=np.intp)
    period = np.array([cuts.index(key) for key in keys], dtype=np.intp)
    return days, limit, due_minute[None, :] < ends[:, None], period


def _needs(
    orders: Sequence[Order],
    recipes: Recipes,
    coffees: Sequence[str],
    stock: Mapping[str, float],
    period: NDArray[np.intp],
) -> tuple[Floats, Floats]:
    """Kilograms per coffee and order after ready blends; stock of coffees that orders can use."""
    both = sorted(set(stock) & set(recipes) & set(coffees))
    if both:
        raise InputError(
            f"stock_roasted_kg: {both[0]!r} is a blend and a coffee; give the two different names"
        )
    ready = {blend: _mass("stock_roasted_kg", stock, blend) for blend in recipes if blend in stock}
    need = np.zeros((len(coffees), len(orders)))
    for i in np.argsort(period, kind="stable"):
        order = orders[i]
        taken = min(ready.get(order.blend, 0.0), order.kg)
        if order.blend in ready:
            ready[order.blend] -= taken
        for j, coffee in enumerate(coffees):
            need[j, i] = (order.kg - taken) * recipes[order.blend].get(coffee, 0.0)
    have = np.array([_mass("stock_roasted_kg", stock, c) for c in coffees])
    return need, np.minimum(have, need.sum(axis=1))


def _kept_safely(problem: Problem, losses: Sequence[Loss], safety: float) -> Floats:
    """Roasted per green so that all orders are met together with the stated chance.

    Each need up to a due time gets the chance safety^(1/k) of its own, k needs in all: right for
    independent coffees, and on the safe side for due times of one coffee, which rise and fall
    together (Slepian's inequality). The doubt about a lot's level is shared by its batches; their
    own scatter averages out over at least green / largest charge of them, whatever their sizes.
    """
    if not 0.5 <= safety < 1:
        raise InputError(f"safety: {safety} is a chance from 0.5 up to 1, such as 0.95")
    need = problem.new_need
    distinct = sum(len(set(row[row > 0])) for row in need)
    z = float(ndtri(safety ** (1 / max(distinct, 1))))
    mean, sd, batch_sd = np.array([(x.mean, x.sd, x.batch_sd) for x in losses]).reshape(-1, 3).T
    largest = max(d.largest_kg for d in problem.drums)
    batches = np.maximum(need / problem.kept[:, None] / largest, 1.0)
    doubt = np.sqrt(sd[:, None] ** 2 + batch_sd[:, None] ** 2 / batches)
    safe = 1 - mean[:, None] - z * doubt
    if (safe <= 0).any():
        raise InputError(f"losses: the doubt is too wide to plan with at safety {safety}")
    return np.asarray(safe)
