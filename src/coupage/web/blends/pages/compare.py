"""Up to four recipes side by side: taste with doubt, difference, cost, stock, who would notice."""

from __future__ import annotations

from dataclasses import dataclass

from coupage.panel import Beliefs
from coupage.recipe import Noticed, who_notices
from coupage.web.blends import queries
from coupage.web.blends.costs import costs_now
from coupage.web.blends.models import Brief
from coupage.web.blends.pages.brief import wanted
from coupage.web.blends.pages.parts import made_of, profiles
from coupage.web.blends.serving import serve
from coupage.web.blends.sides import Side
from coupage.web.blends.stock import stock_now
from coupage.web.blends.written import write_recipe
from coupage.web.common.charts import ProfileChart
from coupage.web.cuppings.beliefs import beliefs_now, tolerances
from coupage.web.cuppings.pages.said import chance_text, joined, signed

__all__ = ["ComparePage", "compare_page", "default_sides"]


@dataclass(frozen=True, slots=True)
class SideRow:
    name: str
    made_of: str
    chance: str
    desirability: str
    cost: str
    makes: str
    weeks: str
    link: str


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    attribute: str
    difference: str
    interval: str
    same: str
    verdict: str


@dataclass(frozen=True, slots=True)
class Against:
    """One recipe held against the first."""

    name: str
    sentence: str
    verdict: str
    rows: tuple[DifferenceRow, ...]
    noticed: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ComparePage:
    sentence: str
    problem: str
    sides: tuple[SideRow, ...]
    picture: ProfileChart | None
    against: tuple[Against, ...]


def compare_page(sides: list[Side], brief: Brief | None, currency: str) -> ComparePage:
    """Hold recipes against each other; the first is what the others are held against."""
    beliefs = beliefs_now()
    believed = _believed(sides, beliefs)
    against: tuple[Against, ...] = ()
    picture, problem = None, ""
    if beliefs is None:
        problem = "Nothing was cupped yet: hold a table with these coffees and reveal it."
    elif len(believed) < len(sides):
        missing = [side.name for side in sides if side not in believed]
        problem = f"Nothing is believed of a coffee in {joined(missing)}; taste it first."
    if beliefs is not None and believed:
        few = beliefs.restrict(sorted({name for side in believed for name in side.recipe}))
        drawn = [(side.name, few.profile(side.recipe)) for side in believed]
        picture = profiles(drawn, wanted(brief))
        if believed[0] is sides[0]:
            against = tuple(_against(few, sides[0], side) for side in believed[1:])
    return ComparePage(
        sentence=_sentence(sides, against),
        problem=problem,
        sides=tuple(_rows(sides, brief, beliefs, currency)),
        picture=picture,
        against=against,
    )


def _believed(sides: list[Side], beliefs: Beliefs | None) -> list[Side]:
    known = set() if beliefs is None else set(beliefs.components)
    return [side for side in sides if set(side.recipe) <= known]


def _rows(
    sides: list[Side], brief: Brief | None, beliefs: Beliefs | None, currency: str
) -> list[SideRow]:
    costs = costs_now()
    stock = stock_now(costs.loss)
    rows = []
    for side in sides:
        served = serve(brief, beliefs, side.recipe) if brief else None
        card, makes = costs.card(side.recipe), stock.makes(side.recipe)
        weeks = ""
        if makes and side.weekly_kg:
            weeks = f"{makes.roasted_kg / side.weekly_kg:.1f} weeks at {side.weekly_kg:g} kg a week"
        rows.append(
            SideRow(
                name=side.name,
                made_of=made_of(side.shares.items()),
                chance=chance_text(served.chance) if served else "–",
                desirability=f"{served.desirability:.2f}" if served else "–",
                cost=f"{card.coffee:.2f} {currency}" if card else "–",
                makes=f"{makes.roasted_kg:.0f} kg, {makes.lot} ends first" if makes else "–",
                weeks=weeks or "–",
                link=write_recipe(side.shares),
            )
        )
    return rows


def _against(few: Beliefs, first: Side, other: Side) -> Against:
    found = few.compare(other.recipe, first.recipe, tolerances())
    joint = few.joint(other.recipe, first.recipe, tolerances())
    noticed = who_notices(few, first.recipe, other.recipe)
    right = (noticed.right, noticed.right_low90, noticed.right_high90)
    return Against(
        name=other.name,
        sentence=_noticing(first, other, noticed),
        verdict=joint.verdict,
        rows=tuple(
            DifferenceRow(
                attribute=attribute,
                difference=signed(c.difference),
                interval=f"{signed(c.low90)} to {signed(c.high90)}",
                same=chance_text(c.chance_same),
                verdict=c.verdict,
            )
            for attribute, c in found.items()
        ),
        noticed=(
            ("Distance, d-prime", _ranged(noticed.d_prime, noticed.low90, noticed.high90, 2)),
            (
                "Right in a triangle test",
                _ranged(100 * right[0], 100 * right[1], 100 * right[2], 0)
                .replace(" (", " % (")
                .replace(")", " %)"),
            ),
            ("By luck alone", f"{100 * noticed.guess:.0f} %"),
            ("Really notice", f"{100 * noticed.noticing:.0f} %"),
        ),
    )


def _ranged(value: float, low: float, high: float, places: int) -> str:
    return f"{value:.{places}f} ({low:.{places}f} to {high:.{places}f})"


def _noticing(first: Side, other: Side, noticed: Noticed) -> str:
    ten = round(10 * noticed.noticing)
    who = {0: "Hardly anybody", 10: "As good as everybody"}.get(
        ten, f"About {ten} of 10 trained tasters"
    )
    return f"{who} would notice {other.name} after {first.name}; guests notice less."


def _sentence(sides: list[Side], against: tuple[Against, ...]) -> str:
    if len(sides) < 2:
        return "Choose two to four recipes to hold against each other."
    if not against:
        return f"{joined([side.name for side in sides])}, side by side."
    same = [one.name for one in against if one.verdict == "same"]
    apart = [one.name for one in against if one.verdict == "different"]
    parts = []
    if same:
        parts.append(f"{joined(same)} {'tastes' if len(same) == 1 else 'taste'} the same")
    if apart:
        parts.append(f"{joined(apart)} {'tastes' if len(apart) == 1 else 'taste'} different")
    open_ = [one.name for one in against if one.verdict not in {"same", "different"}]
    if open_:
        parts.append(f"for {joined(open_)} there are not enough cups to say")
    return f"Against {sides[0].name}: {'; '.join(parts)}."


def default_sides() -> list[int]:
    """Return keys of the recipes one would compare first: of one blend, in service and newest."""
    for blend in queries.blends().filter(archived=False):
        current = queries.recipe_in_service(blend)
        others = [r for r in blend.recipes.all() if r.sealed and r != current]
        if current is not None and others:
            return [current.pk, others[0].pk]
    return []
