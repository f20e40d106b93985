"""What green to buy by when, from what is expected, the recipes in service and the losses.

A coffee is bought again as the lot it is: in its bags, at its landed price. What follows a lot that
is sold out has to be found and tasted first; the dates are the same.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from coupage.plan import Offer, Purchase, supply
from coupage.units import MassUnit, grams, show_bag, show_mass
from coupage.web.batches.losses import expected_losses
from coupage.web.blends.models import Recipe
from coupage.web.blends.queries import recipes
from coupage.web.coffees import queries as coffees
from coupage.web.common.dates import day_text
from coupage.web.common.requests import Request
from coupage.web.orders.expecting import expected_kg, monday
from coupage.web.orders.forms import BuyingForm
from coupage.web.people.queries import roastery

__all__ = ["BuyingPage", "buying_page", "green_needed"]

WEEKS = 26
_TWO_WEEKS = 2
_SECONDS = 5.0


@dataclass(frozen=True, slots=True)
class Buy:
    """One coffee: how long it lasts and what to order."""

    lot: coffees.StockedLot
    free: str
    weekly: str
    lasts: str
    soon: bool
    orders: tuple[str, ...]
    short: str


@dataclass(frozen=True, slots=True)
class BuyingPage:
    form: BuyingForm
    sentence: str
    rows: tuple[Buy, ...]
    cost: str
    unpriced: tuple[str, ...]


def green_needed(today: dt.date, weeks: int = WEEKS) -> dict[int, list[float]]:
    """Return kilograms of green needed of each lot in each coming week."""
    expected, losses = expected_kg(today, weeks), expected_losses()
    needed: dict[int, list[float]] = {}
    for recipe in recipes().filter(state=Recipe.State.IN_SERVICE):
        blend = expected.get(recipe.blend_id)
        if blend is None:
            continue
        for share in recipe.shares.all():
            per_kg = share.share_ppm / 1_000_000 / (1 - losses[share.approach_id].mean)
            of = needed.setdefault(share.approach.lot_id, [0.0] * weeks)
            for week, kg in enumerate(blend):
                of[week] += kg * per_kg
    return needed


def buying_page(request: Request, today: dt.date) -> BuyingPage:
    """Work out what to buy; figures that cannot be read fall back to the usual ones."""
    currency = roastery().currency
    given = {name: request.GET[name] for name in BuyingForm.base_fields if name in request.GET}
    form = BuyingForm(given or None, currency=currency)
    sent = form.cleaned_data if given and form.is_valid() else {}
    figures = {
        name: float(field.initial or 0) if sent.get(name) is None else float(sent[name])
        for name, field in BuyingForm.base_fields.items()
    }
    needed = green_needed(today)
    lots = {lot.pk: lot for lot in coffees.lots().filter(pk__in=list(needed))}
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    plan = _planned(lots, needed, figures)
    rows = tuple(
        _row(lots[pk], needed[pk], plan.get(pk), today, unit)
        for pk in sorted(needed, key=lambda pk: lots[pk].name)
    )
    cost = sum(p.cost for bought, _ in plan.values() for p in bought)
    return BuyingPage(
        form=form,
        sentence=_sentence(rows),
        rows=tuple(sorted(rows, key=lambda row: (not row.orders, not row.soon))),
        cost=f"{cost:,.0f} {currency}".replace(",", " "),
        unpriced=tuple(sorted(lot.name for lot in lots.values() if lot.price_per_kg is None)),
    )


def _planned(
    lots: dict[int, coffees.StockedLot], needed: dict[int, list[float]], figures: dict[str, float]
) -> dict[int, tuple[tuple[Purchase, ...], float]]:
    """Purchases of each lot, in periods of two weeks, and the kilograms that nothing covers."""
    found = {}
    lead = -(-int(figures["lead"]) // _TWO_WEEKS)
    for pk, weeks in needed.items():
        lot = lots[pk]
        demand = [sum(weeks[t : t + _TWO_WEEKS]) for t in range(0, len(weeks), _TWO_WEEKS)]
        price = float(lot.price_per_kg or 0)
        offer = Offer(
            lot.name,
            price,
            bag_kg=(lot.bag_g or 60_000) / 1000,
            order_cost=figures["order_cost"],
            lead_periods=lead,
        )
        plan = supply(
            {lot.name: demand},
            [offer],
            stock_kg={lot.name: max(lot.free_g, 0) / 1000},
            holding_per_kg=price * figures["holding"] / 100 * _TWO_WEEKS / 52,
            safety_kg=figures["safety"] * sum(weeks) / len(weeks),
            gap=0.01,
            seconds=_SECONDS / len(needed),
        )
        short = sum(sum(series) for series in plan.short_kg.values())
        found[pk] = (plan.purchases, short)
    return found


def _row(
    lot: coffees.StockedLot,
    weeks: list[float],
    plan: tuple[tuple[Purchase, ...], float] | None,
    today: dt.date,
    unit: MassUnit,
) -> Buy:
    bought, short = plan or ((), 0.0)
    left, lasts = max(lot.free_g, 0) / 1000, len(weeks)
    for week, kg in enumerate(weeks):
        left -= kg
        if left < 0:
            lasts = week
            break
    ends = monday(today) + dt.timedelta(weeks=lasts)
    bag = show_bag(lot.bag_g or 60_000, unit)
    return Buy(
        lot=lot,
        free=show_mass(max(lot.free_g, 0), unit),
        weekly=show_mass(grams(f"{sum(weeks) / len(weeks):.3f}"), unit),
        lasts=f"beyond {day_text(ends)}"
        if lasts == len(weeks)
        else f"the week of {day_text(ends)}",
        soon=lasts < len(weeks),
        orders=tuple(
            f"{p.bags} × {bag} by "
            f"{day_text(monday(today) + dt.timedelta(weeks=_TWO_WEEKS * (p.period - 1)))}"
            for p in bought
        ),
        short="" if short < 0.05 else show_mass(grams(f"{short:.3f}"), unit),
    )


def _sentence(rows: tuple[Buy, ...]) -> str:
    if not rows:
        return "Nothing is expected to be roasted; write orders down first."
    out = [row for row in rows if row.soon]
    late = [row.lot.name for row in rows if row.short]
    if not out:
        return f"Every coffee in service lasts for the next {WEEKS} weeks."
    count = "1 coffee runs" if len(out) == 1 else f"{len(out)} coffees run"
    text = f"{count} out within {WEEKS} weeks."
    verb = "runs" if len(late) == 1 else "run"
    if late:
        text += f" {', '.join(late)} {verb} out before an order can arrive."
    return text
