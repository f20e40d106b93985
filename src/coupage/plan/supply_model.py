"""The mixed-integer program of purchases: orders, balances, and inequalities that tighten it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupage.plan.program import Columns, Program
from coupage.plan.supply_market import Market, net_need

__all__ = ["SupplyModel", "build_supply"]

Floats = NDArray[np.float64]


@dataclass(slots=True)
class SupplyModel:
    market: Market
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


def build_supply(market: Market, *, bend: bool) -> SupplyModel:
    program = Program()
    shape = (len(market.offers), market.periods)
    open_ = np.array([[market.can_order(o, t) for t in range(shape[1])] for o in range(shape[0])])
    most = _most(market) * open_.reshape(shape)
    whole = [offer.bag_kg is not None for offer in market.offers]
    rows = [
        program.add((market.periods,), most[o], whole=whole[o]) for o in range(len(market.offers))
    ]
    model = SupplyModel(
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


def _most(market: Market) -> Floats:
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


def _orders(model: SupplyModel, most: Floats) -> None:
    """An order is placed or it is not; of its bags at least the least, of all at most the most."""
    for o, offer in enumerate(model.market.offers):
        for t in range(model.market.periods):
            bags, placed = model.bags[o, t], model.ordered[o, t]
            model.program.row((bags, 1.0), (placed, -most[o, t]), at_most=0)
            if offer.least_bags:
                model.program.row((bags, 1.0), (placed, -offer.least_bags), at_least=0)
        if offer.most_bags is not None:
            model.program.row((model.bags[o], 1.0), at_most=offer.most_bags)


def _arrivals(model: SupplyModel, c: int, t: int) -> list[tuple[int, float]]:
    """What comes in for a coffee in a period: columns and kilograms each."""
    found = []
    for o, offer in enumerate(model.market.offers):
        if model.market.coffees[c] == offer.coffee and t >= offer.lead_periods:
            found.append((int(model.bags[o, t - offer.lead_periods]), offer.unit_kg))
    return found


def _balance(model: SupplyModel) -> None:
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


def _rounding(market: Market, c: int) -> float:
    """Whole bags overshoot: by less than the smallest bag on offer."""
    bags = [o.bag_kg for o in market.offers if o.coffee == market.coffees[c] and o.bag_kg]
    return min(bags, default=0.0)


def _safe(market: Market) -> Floats:
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


def _cuts(model: SupplyModel) -> None:
    """Implied (l, S) inequalities: need up to l is met by early bags, or by an order in S."""
    market = model.market
    for c, coffee in enumerate(market.coffees):
        here = [o for o, offer in enumerate(market.offers) if offer.coffee == coffee]
        if not here or not market.fixed[here].any():
            continue
        net = net_need(market, c)
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
