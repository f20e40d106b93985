"""What green to buy by when: whole bags from offers, so that no component runs out, at least cost.

The lot-sizing problem of Wagner and Whitin [1]_ with whole bags, several coffees, several offers
for each, lead times, and green that is to be used within a time. Without bags and with one offer it
is theirs. Solved exactly by branch and cut; the (l, S) inequalities [2]_ spare it most of the work
where orders have a fixed cost.

References
----------
.. [1] Wagner, H. M. and Whitin, T. M., "Dynamic version of the economic lot size model",
   Management Science 5, 1958, 89-96.
.. [2] Pochet, Y. and Wolsey, L. A., Production Planning by Mixed Integer Programming, 2006,
   section 7.4: (l, S) inequalities.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from time import perf_counter
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.plan.program import Columns, Program

__all__ = ["Offer", "Purchase", "Supply", "supply"]

Floats = NDArray[np.float64]
Series = float | Sequence[float]


@dataclass(frozen=True, slots=True)
class Offer:
    """Green of one coffee that can be bought.

    Attributes
    ----------
    coffee
        The component it serves as: the lot itself, or whatever may follow it.
    price_per_kg, order_cost
        What a kilogram costs, and what an order costs besides (freight, papers); one number, or one
        for each period in which it is ordered.
    bag_kg
        Weight of a bag; None buys any mass.
    lead_periods
        Periods from order to arrival; 0 arrives in time for the period's own need.
    first, last
        Periods in which it can be ordered, counted from 1: from the arrival of the crop until it is
        sold out. None leaves the end open.
    least_bags, most_bags
        Of one order, and of all orders together; kilograms where there are no bags.
    """

    coffee: str
    price_per_kg: Series
    name: str = ""
    bag_kg: float | None = 60.0
    order_cost: Series = 0.0
    lead_periods: int = 0
    first: int = 1
    last: int | None = None
    least_bags: float = 0.0
    most_bags: float | None = None

    @property
    def title(self) -> str:
        return self.name or self.coffee

    @property
    def unit_kg(self) -> float:
        return 1.0 if self.bag_kg is None else self.bag_kg


@dataclass(frozen=True, slots=True)
class Purchase:
    """One order: placed in a period, there in another; ``bags`` is None where it has none."""

    offer: str
    coffee: str
    period: int
    arrives: int
    kg: float
    bags: int | None
    cost: float


@dataclass(frozen=True, slots=True)
class Supply:
    """What to buy by when.

    Attributes
    ----------
    purchases
        In order of time.
    stock_kg
        Coffee: kilograms at the end of each period.
    runs_out
        Coffee: the first period whose need is not covered if nothing is bought; absent where stock
        lasts.
    short_kg
        Coffee: kilograms of need that no offer can cover, by period; empty when all is covered.
    status
        ``"optimal"``, ``"stopped"`` (best so far) or ``"impossible"``: what is short then is as
        little as can be.
    cost
        Purchases, orders and holding.
    """

    purchases: tuple[Purchase, ...]
    stock_kg: dict[str, tuple[float, ...]]
    runs_out: dict[str, int]
    status: Literal["optimal", "stopped", "impossible"]
    gap: float
    cost: float
    holding: float = 0.0
    short_kg: dict[str, tuple[float, ...]] = field(default_factory=dict)

    def sentence(self) -> str:
        """Say what to do next."""
        if self.short_kg:
            names = ", ".join(f"{n} by {sum(kg):.0f} kg" for n, kg in self.short_kg.items())
            return f"No offer covers the need of {names}."
        if not self.purchases:
            return "Nothing has to be bought."
        first = self.purchases[0]
        much = f"{first.kg:.0f} kg" if first.bags is None else f"{first.bags} bags"
        count = len(self.purchases)
        orders = "one order" if count == 1 else f"{count} orders"
        return (
            f"{orders.capitalize()}; the first in period {first.period}: {much} of {first.offer}."
        )


def supply(
    demand_kg: Mapping[str, Sequence[float]],
    offers: Sequence[Offer],
    *,
    stock_kg: Mapping[str, float] | None = None,
    arriving_kg: Mapping[str, Sequence[float]] | None = None,
    holding_per_kg: float | Mapping[str, float] = 0.0,
    safety_kg: float | Mapping[str, float] = 0.0,
    keeps_periods: Mapping[str, int] | None = None,
    gap: float = 1e-4,
    seconds: float = 20.0,
) -> Supply:
    """Plan the purchases of the coming periods (months, weeks) at least cost.

    Parameters
    ----------
    demand_kg
        Green needed by coffee and period; T periods, the same for all coffees. Roasted needs become
        green by dividing by 1 - loss.
    offers
        What can be bought. A coffee without an offer lives on its stock.
    stock_kg
        On hand at the beginning; what is promised elsewhere left out.
    arriving_kg
        Bought already: kilograms by coffee and period of arrival.
    holding_per_kg
        Cost of a kilogram that is still there at the end of a period: money tied up, store,
        fading.
    safety_kg
        Kilograms that must be there at the end of every period for which they can be.
    keeps_periods
        Coffee: what is bought is to be used within so many periods after its arrival.
    gap, seconds
        Relative gap to which the cost is proven, and the longest time to search.

    Returns
    -------
    Supply
        ``status`` is ``"impossible"`` when some need can be covered by no offer; the plan then
        leaves as few kilograms uncovered as it can.

    Raises
    ------
    InputError
        When an argument cannot be used.

    Examples
    --------
    The twelve months of Wagner and Whitin (1958): 864 in all.

    >>> from coupage.plan import Offer, supply
    >>> demand = [69, 29, 36, 61, 61, 26, 34, 67, 45, 67, 79, 56]
    >>> setup = [85, 102, 102, 101, 98, 114, 105, 86, 119, 110, 98, 114]
    >>> offer = Offer("x", 0.0, bag_kg=None, order_cost=setup)
    >>> plan = supply({"x": demand}, [offer], holding_per_kg=1.0)
    >>> round(plan.cost), [p.period for p in plan.purchases]
    (864, [1, 3, 5, 8, 10, 11])
    """
    market = _read(demand_kg, offers, stock_kg, arriving_kg, holding_per_kg, safety_kg)
    market.keeps = {c: _keep(n, c, market) for c, n in (keeps_periods or {}).items()}
    # Nothing ties the coffees together: each is a small problem of its own.
    ends = perf_counter() + seconds
    parts = []
    for left, c in enumerate(reversed(range(len(market.coffees)))):
        share = max(ends - perf_counter(), 0.1) / (len(market.coffees) - left)
        parts.append(_solve(market.alone(c), gap, share))
    return _together(market, parts[::-1])


def _solve(market: _Market, gap: float, seconds: float) -> Supply:
    """One coffee's purchases."""
    model = _build(market, bend=False)
    outcome = model.program.solve([model.cost()], gap=gap, seconds=seconds)
    if outcome.x is None and outcome.status == "impossible":
        model = _build(market, bend=True)
        goals = [model.program.vector((model.short, 1.0)), model.cost()]
        outcome = model.program.solve(goals, gap=gap, seconds=seconds)
        if outcome.x is not None:
            return _plan(market, model, outcome.x, "impossible", outcome.gap)
    if outcome.x is None:
        return Supply((), {}, _runs_out(market), "stopped", np.inf, np.inf)
    return _plan(market, model, outcome.x, outcome.status, outcome.gap)


def _together(market: _Market, parts: Sequence[Supply]) -> Supply:
    """Add the coffees up; the gap is that of the whole cost."""
    cost = sum(part.cost for part in parts)
    open_ = sum(part.gap * part.cost for part in parts if part.gap > 0)
    worst = max(("optimal", "stopped", "impossible").index(part.status) for part in parts)
    status: Literal["optimal", "stopped", "impossible"] = "optimal"
    if worst:
        status = "stopped" if worst == 1 else "impossible"
    bought = [purchase for part in parts for purchase in part.purchases]
    return Supply(
        purchases=tuple(sorted(bought, key=lambda p: (p.period, p.offer))),
        stock_kg={name: kg for part in parts for name, kg in part.stock_kg.items()},
        runs_out=_runs_out(market),
        status=status,
        gap=np.inf if not np.isfinite(cost) else open_ / cost if cost else 0.0,
        cost=cost,
        holding=sum(part.holding for part in parts),
        short_kg={name: kg for part in parts for name, kg in part.short_kg.items()},
    )


@dataclass(slots=True)
class _Market:
    """The arguments as arrays: C coffees, T periods, O offers."""

    coffees: tuple[str, ...]
    demand: Floats  # (C, T)
    offers: tuple[Offer, ...]
    price: Floats  # (O, T)
    fixed: Floats  # (O, T)
    stock: Floats  # (C,)
    coming: Floats  # (C, T)
    holding: Floats  # (C,)
    safety: Floats  # (C,)
    keeps: dict[str, int] = field(default_factory=dict)

    @property
    def periods(self) -> int:
        return int(self.demand.shape[1])

    def alone(self, c: int) -> _Market:
        """The same with one coffee and its offers."""
        here = [o for o, offer in enumerate(self.offers) if offer.coffee == self.coffees[c]]
        return _Market(
            coffees=(self.coffees[c],),
            demand=self.demand[c : c + 1],
            offers=tuple(self.offers[o] for o in here),
            price=self.price[here],
            fixed=self.fixed[here],
            stock=self.stock[c : c + 1],
            coming=self.coming[c : c + 1],
            holding=self.holding[c : c + 1],
            safety=self.safety[c : c + 1],
            keeps={n: k for n, k in self.keeps.items() if n == self.coffees[c]},
        )

    @property
    def idle(self) -> Floats:
        """Stock at the end of each period if nothing is bought, none below nothing, (C, T)."""
        level, left = np.zeros_like(self.demand), self.stock.copy()
        for t in range(self.periods):
            left = np.maximum(left + self.coming[:, t] - self.demand[:, t], 0.0)
            level[:, t] = left
        return level

    def can_order(self, o: int, t: int) -> bool:
        """Whether an order of period t (from 0) is open and arrives within the plan."""
        offer = self.offers[o]
        last = self.periods if offer.last is None else offer.last
        return offer.first <= t + 1 <= last and t + offer.lead_periods < self.periods


def _read(
    demand_kg: Mapping[str, Sequence[float]],
    offers: Sequence[Offer],
    stock_kg: Mapping[str, float] | None,
    arriving_kg: Mapping[str, Sequence[float]] | None,
    holding_per_kg: float | Mapping[str, float],
    safety_kg: float | Mapping[str, float],
) -> _Market:
    coffees = tuple(demand_kg)
    lengths = {len(series) for series in demand_kg.values()}
    if len(lengths) != 1 or 0 in lengths:
        raise InputError(
            f"demand_kg: the coffees have {sorted(lengths) or 'no'} periods; give every one the "
            "same number of periods, at least one"
        )
    periods = lengths.pop()
    for offer in offers:
        _check_offer(offer, coffees)

    def of(name: str, value: float | Mapping[str, float]) -> Floats:
        return _each(name, [value.get(c, 0.0) if isinstance(value, Mapping) else value
                            for c in coffees])  # fmt: skip

    coming = [
        _series(f"arriving_kg of {c!r}", (arriving_kg or {}).get(c, 0.0), periods) for c in coffees
    ]
    return _Market(
        coffees=coffees,
        demand=np.array([_series(f"demand_kg of {c!r}", demand_kg[c], periods) for c in coffees]),
        offers=tuple(offers),
        price=_table("price_per_kg", [o.price_per_kg for o in offers], periods),
        fixed=_table("order_cost", [o.order_cost for o in offers], periods),
        stock=of("stock_kg", stock_kg or {}),
        coming=np.array(coming),
        holding=of("holding_per_kg", holding_per_kg),
        safety=of("safety_kg", safety_kg),
    )


def _check_offer(offer: Offer, coffees: Sequence[str]) -> None:
    if offer.coffee not in coffees:
        raise InputError(
            f"offers: {offer.title!r} serves {offer.coffee!r}, of which nothing is needed; take it "
            "out, or name the coffee it serves"
        )
    most = np.inf if offer.most_bags is None else offer.most_bags
    good = (
        offer.unit_kg > 0
        and offer.lead_periods >= 0
        and offer.first >= 1
        and 0 <= offer.least_bags <= most
    )
    if not good:
        raise InputError(
            f"offers: {offer.title!r} has bags of {offer.bag_kg} kg, lead_periods "
            f"{offer.lead_periods}, first {offer.first}, bags {offer.least_bags} to "
            f"{offer.most_bags}; bags weigh more than 0, periods count from 1, least before most"
        )


def _keep(periods: int, coffee: str, market: _Market) -> int:
    if coffee not in market.coffees or periods < 1:
        raise InputError(
            f"keeps_periods: {coffee!r} keeps {periods} periods; name a coffee that is needed, and "
            "give 1 or more"
        )
    return periods


def _series(name: str, value: Series, periods: int) -> Floats:
    if np.ndim(value) == 0:
        return _each(name, [value] * periods)  # type: ignore[list-item]
    given = _each(name, value)  # type: ignore[arg-type]
    if given.size != periods:
        raise InputError(f"{name}: {given.size} periods came, {periods} are planned")
    return given


def _each(name: str, values: Sequence[float]) -> Floats:
    array = np.asarray(values, dtype=float)
    if array.ndim != 1 or not (np.isfinite(array) & (array >= 0)).all():
        raise InputError(f"{name}: {list(values)}; give finite numbers from 0")
    return array


def _table(name: str, series: Sequence[Series], periods: int) -> Floats:
    rows = [_series(name, one, periods) for one in series]
    return np.array(rows).reshape(len(rows), periods)


@dataclass(slots=True)
class _Model:
    market: _Market
    program: Program
    bags: Columns  # (O, T) bags, or kilograms, ordered in a period
    ordered: Columns  # (O, T) 1 where an order is placed
    stock: Columns  # (C, T)
    short: Columns  # (C, T), empty unless bent

    def cost(self) -> Floats:
        market = self.market
        unit = np.array([o.unit_kg for o in market.offers])[:, None]
        return self.program.vector(
            (self.bags, market.price * unit),
            (self.ordered, market.fixed),
            (self.stock, np.broadcast_to(market.holding[:, None], self.stock.shape)),
        )


def _build(market: _Market, *, bend: bool) -> _Model:
    program = Program()
    shape = (len(market.offers), market.periods)
    open_ = np.array([[market.can_order(o, t) for t in range(shape[1])] for o in range(shape[0])])
    most = _most(market) * open_.reshape(shape)
    whole = [offer.bag_kg is not None for offer in market.offers]
    rows = [
        program.add((market.periods,), most[o], whole=whole[o]) for o in range(len(market.offers))
    ]
    model = _Model(
        market=market,
        program=program,
        bags=np.array(rows, dtype=np.intp).reshape(shape),
        ordered=program.add(shape, open_.reshape(shape).astype(float), whole=True),
        stock=program.add((len(market.coffees), market.periods)),
        short=program.add((len(market.coffees), market.periods), market.demand)
        if bend
        else np.empty((0, 0), dtype=np.intp),
    )
    _orders(model, most)
    _balance(model)
    if not bend:
        _cuts(model)
    return model


def _most(market: _Market) -> Floats:
    """More than the need of all later periods, and the safety, is never worth buying, (O, T)."""
    later = np.cumsum(market.demand[:, ::-1], axis=1)[:, ::-1] + market.safety[:, None]
    most = np.zeros((len(market.offers), market.periods))
    for o, offer in enumerate(market.offers):
        c = market.coffees.index(offer.coffee)
        for t in range(market.periods - offer.lead_periods):
            need = later[c, t + offer.lead_periods] / offer.unit_kg
            bags = need if offer.bag_kg is None else np.ceil(need - 1e-9)
            most[o, t] = max(bags, offer.least_bags)
        if offer.most_bags is not None:
            most[o] = np.minimum(most[o], offer.most_bags)
    return most


def _orders(model: _Model, most: Floats) -> None:
    """An order is placed or it is not; of its bags at least the least, of all at most the most."""
    for o, offer in enumerate(model.market.offers):
        for t in range(model.market.periods):
            bags, placed = model.bags[o, t], model.ordered[o, t]
            model.program.row((bags, 1.0), (placed, -most[o, t]), at_most=0)
            if offer.least_bags:
                model.program.row((bags, 1.0), (placed, -offer.least_bags), at_least=0)
        if offer.most_bags is not None:
            model.program.row((model.bags[o], 1.0), at_most=offer.most_bags)


def _arrivals(model: _Model, c: int, t: int) -> list[tuple[int, float]]:
    """What comes in for a coffee in a period: columns and kilograms each."""
    found = []
    for o, offer in enumerate(model.market.offers):
        if model.market.coffees[c] == offer.coffee and t >= offer.lead_periods:
            found.append((int(model.bags[o, t - offer.lead_periods]), offer.unit_kg))
    return found


def _balance(model: _Model) -> None:
    """What was there and came in is used or left; what is left suffices for safety, and keeps."""
    market, program = model.market, model.program
    idle = market.idle
    safe = _safe(market)
    for c, coffee in enumerate(market.coffees):
        for t in range(market.periods):
            terms: list[tuple[int, float]] = [(int(model.stock[c, t]), -1.0)]
            before = market.stock[c] if t == 0 else 0.0
            if t:
                terms.append((int(model.stock[c, t - 1]), 1.0))
            if model.short.size:
                terms.append((int(model.short[c, t]), 1.0))
            due = market.demand[c, t] - market.coming[c, t] - before
            program.row(*terms, *_arrivals(model, c, t), at_least=due, at_most=due)
            if not model.short.size and safe[c, t]:
                program.row((model.stock[c, t], 1.0), at_least=safe[c, t])
            if coffee in market.keeps:
                ahead = market.demand[c, t + 1 : t + 1 + market.keeps[coffee]].sum()
                beyond = max(ahead + market.safety[c], idle[c, t])
                program.row((model.stock[c, t], 1.0), at_most=beyond + _rounding(market, c))


def _rounding(market: _Market, c: int) -> float:
    """Whole bags overshoot: by less than the smallest bag on offer."""
    bags = [o.bag_kg for o in market.offers if o.coffee == market.coffees[c] and o.bag_kg]
    return min(bags, default=0.0)


def _safe(market: _Market) -> Floats:
    """Safety stock from the first period in which something can arrive for it, (C, T)."""
    safe = np.zeros_like(market.demand)
    for c, coffee in enumerate(market.coffees):
        arrivals = [
            t + offer.lead_periods
            for o, offer in enumerate(market.offers)
            for t in range(market.periods)
            if offer.coffee == coffee and market.can_order(o, t)
        ]
        safe[c, min(arrivals, default=market.periods) :] = market.safety[c]
    return safe


def _cuts(model: _Model) -> None:
    """Implied (l, S) inequalities: need up to l is met by early bags, or by an order in S."""
    market = model.market
    for c, coffee in enumerate(market.coffees):
        here = [o for o, offer in enumerate(market.offers) if offer.coffee == coffee]
        if not here or not market.fixed[here].any():
            continue
        net = _net_need(market, c)
        for last in range(market.periods):
            terms: list[tuple[int, float]] = []
            for o in here:
                offer = market.offers[o]
                for t in range(last - offer.lead_periods + 1):
                    rest = net[t + offer.lead_periods : last + 1].sum()
                    late = t + offer.lead_periods > last // 2
                    if late and offer.bag_kg is None:
                        terms.append((int(model.ordered[o, t]), float(rest)))
                    else:
                        terms.append((int(model.bags[o, t]), offer.unit_kg))
            if terms and net[: last + 1].sum() > 0:
                model.program.row(*terms, at_least=float(net[: last + 1].sum()))


def _net_need(market: _Market, c: int) -> Floats:
    """Need that stock and what is coming do not cover, first come first served, (T,)."""
    net, left = np.zeros(market.periods), float(market.stock[c])
    for t in range(market.periods):
        left += market.coming[c, t]
        net[t] = max(market.demand[c, t] - left, 0.0)
        left = max(left - market.demand[c, t], 0.0)
    return net


def _runs_out(market: _Market) -> dict[str, int]:
    found = {}
    for c, coffee in enumerate(market.coffees):
        short = np.flatnonzero(_net_need(market, c) > 1e-9)
        if short.size:
            found[coffee] = int(short[0]) + 1
    return found


def _plan(market: _Market, model: _Model, x: Floats, status: str, gap: float) -> Supply:
    purchases = []
    cost = 0.0
    for o, offer in enumerate(market.offers):
        for t in range(market.periods):
            bags = float(x[model.bags[o, t]])
            bags = bags if offer.bag_kg is None else float(round(bags))
            if bags <= 1e-6:
                continue
            kg = bags * offer.unit_kg
            price = kg * market.price[o, t] + market.fixed[o, t]
            cost += price
            purchases.append(
                Purchase(
                    offer=offer.title,
                    coffee=offer.coffee,
                    period=t + 1,
                    arrives=t + 1 + offer.lead_periods,
                    kg=kg,
                    bags=None if offer.bag_kg is None else int(bags),
                    cost=float(price),
                )
            )
    stock = x[model.stock]
    holding = float((market.holding[:, None] * stock).sum())
    short = x[model.short] if model.short.size else np.zeros_like(market.demand)
    return Supply(
        purchases=tuple(sorted(purchases, key=lambda p: (p.period, p.offer))),
        stock_kg={c: tuple(map(float, row)) for c, row in zip(market.coffees, stock, strict=True)},
        runs_out=_runs_out(market),
        status=status,  # type: ignore[arg-type]
        gap=gap,
        cost=cost + holding,
        holding=holding,
        short_kg={
            c: tuple(map(float, row))
            for c, row in zip(market.coffees, short, strict=True)
            if row.sum() > 1e-6
        },
    )
