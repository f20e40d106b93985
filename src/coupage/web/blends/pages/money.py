"""Prices and costs: what is written down, and what moves the cost of a recipe."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from coupage.cost import CostCard
from coupage.units import show_share
from coupage.web.blends.costs import Costs, costs_now
from coupage.web.blends.models import ExchangeRate, GreenPrice, HouseCosts
from coupage.web.common.charts.marks import marks
from coupage.web.common.drawing import Axis, axis_text, nice_ticks, percent
from coupage.web.cuppings.pages.said import joined

__all__ = ["CostRow", "MoneyPage", "Move", "cost_rows", "money_page", "moves", "moves_picture"]

# How far a price is moved in the picture, per cent.
REACH = 30


@dataclass(frozen=True, slots=True)
class CostRow:
    what: str
    amount: str
    strong: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Move:
    """What the price of one coffee does to the cost of a recipe."""

    coffee: str
    now: str
    loss: str
    tenth: str
    ends: tuple[float, float]


@dataclass(frozen=True, slots=True)
class MoneyPage:
    currency: str
    sentence: str
    rates: tuple[ExchangeRate, ...]
    prices: tuple[GreenPrice, ...]
    house: tuple[HouseCosts, ...]


def money_page(currency: str) -> MoneyPage:
    """Return what is written down of prices, rates and the house's costs, newest first."""
    costs = costs_now()
    if costs.without_rate:
        said = f"There is no exchange rate for {joined(costs.without_rate)} yet; write it below."
    elif costs.house is None:
        said = "A recipe costs its coffee so far; write down what roasting and the rest cost."
    else:
        h = costs.house
        beside = h.roasting + h.labour + h.packaging + h.overhead
        said = f"A roasted kilogram costs {beside:.2f} {currency} beside its coffee."
    return MoneyPage(
        currency=currency,
        sentence=said,
        rates=tuple(ExchangeRate.objects.order_by("-on", "-id")[:12]),
        prices=tuple(GreenPrice.objects.select_related("lot").order_by("-on", "-id")[:20]),
        house=tuple(HouseCosts.objects.all()[:6]),
    )


def cost_rows(costs: Costs, card: CostCard, currency: str) -> tuple[CostRow, ...]:
    """Return a card line by line as a page shows it, with the doubt that the losses leave."""
    low, high = costs.coffee_between(card)
    lines = list(card.lines)
    rows = [CostRow(line.what, _money(line.per_kg, currency)) for line in lines[:2]]
    rows.append(
        CostRow(
            "coffee per roasted kg",
            _money(card.coffee, currency),
            strong=True,
            note=f"90 % between {low:.2f} and {high:.2f}, by the losses",
        )
    )
    if costs.house is None:
        return tuple(rows)
    rows += [CostRow(line.what, _money(line.per_kg, currency)) for line in lines[2:]]
    rows.append(CostRow("cost per roasted kg", _money(card.total, currency), strong=True))
    price = costs.selling_price(card)
    if price is not None and costs.house.margin_ppm is not None:
        margin = show_share(costs.house.margin_ppm)
        rows.append(CostRow(f"price that leaves {margin}", _money(price, currency), strong=True))
    return tuple(rows)


def _money(amount: Decimal, currency: str) -> str:
    return f"{amount:.2f} {currency}"


def moves(costs: Costs, card: CostCard, currency: str) -> tuple[Move, ...]:
    """Return what a move of each coffee's price does to the cost, the largest first."""
    found = []
    for line in card.green:
        tenth = card.if_price(line.component, line.price * Decimal("1.1")) - card.total
        loss = costs.expected[line.component]
        ends = tuple(
            float(card.if_price(line.component, line.price * (100 + by) / 100))
            for by in (-REACH, REACH)
        )
        found.append(
            Move(
                coffee=line.component,
                now=_money(line.price, currency),
                loss=f"{100 * loss.mean:.1f} % ({100 * loss.low90:.1f} to {100 * loss.high90:.1f})",
                tenth=f"{tenth:+.2f} {currency}",
                ends=(ends[0], ends[1]),
            )
        )
    return tuple(sorted(found, key=lambda move: move.ends[0]))


def moves_picture(card: CostCard, found: tuple[Move, ...], currency: str) -> SafeString:
    """Draw the cost against the price of each coffee: straight lines through what it costs now."""
    shown = found[:6]
    low, high = (f(end for m in shown for end in m.ends) for f in (min, max))
    ticks = nice_ticks(low, high, 5)
    height, across = 180, Axis(-REACH, REACH)

    def up(cost: float) -> float:
        return height - 8 - (height - 16) * (cost - ticks[0]) / (ticks[-1] - ticks[0])

    grid = format_html_join(
        "",
        '<line class="grid" x1="0%" x2="100%" y1="{0}" y2="{0}"/>'
        '<text class="tick" x="0%" y="{1}">{2}</text>',
        ((f"{up(t):.1f}", f"{up(t) - 3:.1f}", f"{t:g}") for t in ticks),
    )
    lines = format_html_join(
        "",
        '<line class="fifty series series-{}" stroke="currentColor" '
        'x1="0%" x2="100%" y1="{}" y2="{}"/>',
        ((n, f"{up(m.ends[0]):.1f}", f"{up(m.ends[1]):.1f}") for n, m in enumerate(shown, 1)),
    )
    at = up(float(card.total))
    legend = format_html_join(
        "", "<li>{}{}</li>", ((m, n) for n, m in marks([s.coffee for s in shown]))
    )
    return format_html(
        '<figure class="chart price-moves"><figcaption>Cost of a roasted kg, {}, as the '
        'price of one coffee moves</figcaption><ul class="legend">{}</ul>'
        '<svg class="trend" width="100%" height="{}" aria-hidden="true">{}{}'
        '<line class="level" x1="{}" x2="{}" y1="0" y2="{}"/><circle cx="50%" cy="{}" r="5"/></svg>'
        '{}<p class="key">Price of the coffee, per cent against now. The table says the same.</p>'
        "</figure>",
        currency,
        legend,
        height,
        grid,
        lines,
        percent(50),
        percent(50),
        height,
        f"{at:.1f}",
        axis_text(across, (-REACH, -20, -10, 0, 10, 20, REACH)),
    )
