"""Needs, stock and offers of green as arrays, checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError

__all__ = ["Market", "Offer", "net_need", "periods_kept", "read_market"]

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


@dataclass(slots=True)
class Market:
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

    def alone(self, c: int) -> Market:
        """The same with one coffee and its offers."""
        here = [o for o, offer in enumerate(self.offers) if offer.coffee == self.coffees[c]]
        return Market(
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


def net_need(market: Market, c: int) -> Floats:
    """Need that stock and what is coming do not cover, first come first served, (T,)."""
    net, left = np.zeros(market.periods), float(market.stock[c])
    for t in range(market.periods):
        left += market.coming[c, t]
        net[t] = max(market.demand[c, t] - left, 0.0)
        left = max(left - market.demand[c, t], 0.0)
    return net


def read_market(
    demand_kg: Mapping[str, Sequence[float]],
    offers: Sequence[Offer],
    stock_kg: Mapping[str, float] | None,
    arriving_kg: Mapping[str, Sequence[float]] | None,
    holding_per_kg: float | Mapping[str, float],
    safety_kg: float | Mapping[str, float],
) -> Market:
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
    return Market(
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


def periods_kept(periods: int, coffee: str, market: Market) -> int:
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
