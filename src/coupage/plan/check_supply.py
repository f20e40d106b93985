"""Check purchases and cutovers against their own facts, without knowing how they were made."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from coupage.plan.cutover import Cutover
from coupage.plan.supply import Offer, Purchase, Series

__all__ = ["check_cutover", "check_supply"]

_KG = 1e-3


def check_supply(
    purchases: Sequence[Purchase],
    demand_kg: Mapping[str, Sequence[float]],
    offers: Sequence[Offer],
    *,
    stock_kg: Mapping[str, float] | None = None,
    arriving_kg: Mapping[str, Sequence[float]] | None = None,
    safety_kg: float | Mapping[str, float] = 0.0,
) -> tuple[str, ...]:
    """Say everything that is wrong with a plan of purchases; arguments as in `supply`.

    Safety is asked for from the first period in which an offer can arrive.
    """
    faults: list[str] = []
    by_title = {offer.title: offer for offer in offers}
    totals: dict[str, float] = {}
    for p in purchases:
        offer = by_title.get(p.offer)
        if offer is None or offer.coffee != p.coffee:
            faults.append(f"{p.offer} is not on offer for {p.coffee}")
            continue
        faults += _order_faults(p, offer)
        bags = p.kg / offer.unit_kg
        totals[p.offer] = totals.get(p.offer, 0.0) + bags
    for title, bags in totals.items():
        most = by_title[title].most_bags
        if most is not None and bags > most + _KG:
            faults.append(f"{bags:g} bags of {title} are ordered, {most:g} are there")
    for coffee, series in demand_kg.items():
        level = (stock_kg or {}).get(coffee, 0.0)
        coming = (arriving_kg or {}).get(coffee, [0.0] * len(series))
        ready = _first_arrival(coffee, offers, len(series))
        safety = safety_kg.get(coffee, 0.0) if isinstance(safety_kg, Mapping) else safety_kg
        for t, need in enumerate(series, start=1):
            level += coming[t - 1]
            level += sum(p.kg for p in purchases if p.coffee == coffee and p.arrives == t)
            level -= need
            if level < -_KG:
                faults.append(f"{coffee} lacks {-level:.3f} kg in period {t}")
                level = 0.0
            elif t >= ready and level < safety - _KG:
                faults.append(f"{coffee} falls to {level:.3f} kg in period {t}, below the safety")
    return tuple(faults)


def _order_faults(p: Purchase, offer: Offer) -> list[str]:
    faults = []
    bags = p.kg / offer.unit_kg
    if offer.bag_kg is not None and (abs(bags - round(bags)) > 1e-6 or p.bags != round(bags)):
        faults.append(f"{p.kg:g} kg of {p.offer} are no whole bags")
    if not offer.first <= p.period <= (offer.last or p.period):
        faults.append(f"{p.offer} cannot be ordered in period {p.period}")
    if p.arrives != p.period + offer.lead_periods:
        faults.append(f"{p.offer} ordered in period {p.period} is not there in {p.arrives}")
    if bags < offer.least_bags - _KG:
        faults.append(f"{bags:g} bags of {p.offer} are fewer than can be ordered")
    price = _at(offer.price_per_kg, p.period) * p.kg + _at(offer.order_cost, p.period)
    if abs(price - p.cost) > 0.01 + 1e-6 * price:
        faults.append(f"{p.offer} in period {p.period} costs {price:.2f}, not {p.cost:.2f}")
    return faults


def _at(series: Series, period: int) -> float:
    return float(series[period - 1]) if isinstance(series, Sequence) else float(series)


def _first_arrival(coffee: str, offers: Sequence[Offer], periods: int) -> int:
    found = [
        o.first + o.lead_periods
        for o in offers
        if o.coffee == coffee and o.first + o.lead_periods <= periods
    ]
    return min(found, default=periods + 1)


def check_cutover(
    way: Cutover,
    old: Mapping[str, float],
    new: Mapping[str, float],
    profiles: Mapping[str, Mapping[str, float]],
    tolerance: float | Mapping[str, float],
    *,
    demand_kg: Sequence[float],
    stock_kg: Mapping[str, float] | None = None,
    losses: Mapping[str, float] | None = None,
    free: Collection[str] = (),
) -> tuple[str, ...]:
    """Say everything that is wrong with a cutover; arguments as in `cutover`."""
    faults: list[str] = []
    if len(way.recipes) != len(demand_kg):
        return (f"{len(way.recipes)} recipes for {len(demand_kg)} periods",)
    used: dict[str, float] = {}
    before = dict(old)
    for t, (recipe, kg) in enumerate(zip(way.recipes, demand_kg, strict=True), start=1):
        if abs(sum(recipe.values()) - 1) > 1e-6 or min(recipe.values()) < -1e-9:
            faults.append(f"the shares of period {t} sum to {sum(recipe.values()):.6f}")
        for name in {*recipe, *before}:
            now, was = recipe.get(name, 0.0), before.get(name, 0.0)
            grows = new.get(name, 0.0) - old.get(name, 0.0)
            if name not in free and (now - was) * grows < -1e-9:
                faults.append(f"{name} goes back in period {t}")
            if name not in free and grows == 0 and abs(now - was) > 1e-6:
                faults.append(f"{name} moves in period {t}")
        for attribute in profiles[next(iter(recipe))]:
            moved = sum(
                (recipe.get(n, 0.0) - before.get(n, 0.0)) * profiles[n][attribute]
                for n in {*recipe, *before}
            )
            limit = tolerance[attribute] if isinstance(tolerance, Mapping) else tolerance
            if abs(moved) > limit + 1e-6:
                faults.append(f"{attribute} moves by {abs(moved):.4f} in period {t}")
        for name, share in recipe.items():
            green = kg * share / (1 - (losses or {}).get(name, 0.0))
            used[name] = used.get(name, 0.0) + green
        before = dict(recipe)
    if any(abs(before.get(n, 0.0) - new.get(n, 0.0)) > 1e-6 for n in {*before, *new}):
        faults.append("the last recipe is not the new one")
    for name, there in (stock_kg or {}).items():
        if used.get(name, 0.0) > there + _KG:
            faults.append(f"{used[name]:.3f} kg of {name} are used, {there:.3f} kg are there")
    return tuple(faults)
