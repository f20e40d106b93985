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

from coupage.plan.supply_market import Market, Offer, net_need, periods_kept, read_market
from coupage.plan.supply_model import SupplyModel, build_supply

__all__ = ["Offer", "Purchase", "Supply", "supply"]

Floats = NDArray[np.float64]
Series = float | Sequence[float]


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
    market = read_market(demand_kg, offers, stock_kg, arriving_kg, holding_per_kg, safety_kg)
    market.keeps = {c: periods_kept(n, c, market) for c, n in (keeps_periods or {}).items()}
    # Nothing ties the coffees together: each is a small problem of its own.
    ends = perf_counter() + seconds
    parts = []
    for left, c in enumerate(reversed(range(len(market.coffees)))):
        share = max(ends - perf_counter(), 0.1) / (len(market.coffees) - left)
        parts.append(_solve(market.alone(c), gap, share))
    return _together(market, parts[::-1])


def _solve(market: Market, gap: float, seconds: float) -> Supply:
    """One coffee's purchases."""
    model = build_supply(market, bend=False)
    outcome = model.program.solve([model.cost()], gap=gap, seconds=seconds)
    if outcome.x is None and outcome.status == "impossible":
        model = build_supply(market, bend=True)
        goals = [model.program.vector((model.short, 1.0)), model.cost()]
        outcome = model.program.solve(goals, gap=gap, seconds=seconds)
        if outcome.x is not None:
            return _plan(market, model, outcome.x, "impossible", outcome.gap)
    if outcome.x is None:
        return Supply((), {}, _runs_out(market), "stopped", np.inf, np.inf)
    return _plan(market, model, outcome.x, outcome.status, outcome.gap)


def _together(market: Market, parts: Sequence[Supply]) -> Supply:
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


def _runs_out(market: Market) -> dict[str, int]:
    found = {}
    for c, coffee in enumerate(market.coffees):
        short = np.flatnonzero(net_need(market, c) > 1e-9)
        if short.size:
            found[coffee] = int(short[0]) + 1
    return found


def _plan(market: Market, model: SupplyModel, x: Floats, status: str, gap: float) -> Supply:
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
