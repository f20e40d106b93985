"""The blend triangle: all that the browser needs to work out any recipe of a few coffees."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.panel import Beliefs
from coupage.recipe import Brief as RoomBrief
from coupage.units import PPM
from coupage.web.blends import queries
from coupage.web.blends.costs import Costs, costs_now
from coupage.web.blends.limits import lasting_text, limit_text, rule_of
from coupage.web.blends.models import Blend, Brief, BriefLimit, Recipe
from coupage.web.blends.pages.parts import made_of, parts_of
from coupage.web.blends.serving import room_brief, serve, want_text
from coupage.web.blends.stock import Stock, stock_now
from coupage.web.coffees.groups import members
from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import approaches
from coupage.web.common.charts import swatch
from coupage.web.common.feedback import sentence
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.columns import component_name
from coupage.web.cuppings.models import Cupping, Sample

__all__ = ["LEAST", "MOST", "Shares", "TrianglePage", "figures", "triangle_page"]

LEAST, MOST = 3, 8
Shares = dict[Approach, int]


@dataclass(frozen=True, slots=True)
class Coffee:
    """A coffee of the triangle as a form offers it."""

    approach: Approach
    picture: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class TrianglePage:
    brief: Brief
    problem: str
    data: dict[str, Any]
    coffees: tuple[Coffee, ...]
    blends: tuple[Blend, ...]


def triangle_page(brief: Brief, shares: Shares, more: Sequence[Approach], currency: str) -> Any:
    """Return the page for a recipe, of its coffees and ``more``; both may be empty."""
    beliefs = beliefs_now()
    recipes = _recipes(brief)
    if not shares and recipes:
        shares = dict(parts_of(recipes[0]))
    chosen = _chosen(shares, more, recipes, beliefs)
    problem = _problem(brief, beliefs, chosen)
    data: dict[str, Any] = {}
    if not problem and beliefs is not None:
        data = _Data(brief, beliefs, chosen, currency).whole(shares, recipes)
    known = set(chosen)
    return TrianglePage(
        brief=brief,
        problem=problem,
        data=data,
        coffees=tuple(
            Coffee(approach, swatch(slot) if approach in known else "", approach in known)
            for slot, approach in enumerate(
                [*chosen, *(a for a in approaches() if a not in known)], 1
            )
        ),
        blends=tuple(Blend.objects.filter(archived=False)),
    )


def _recipes(brief: Brief) -> list[Recipe]:
    """Return the recipes for this brief that are not retired: in service first, then the newest."""
    found = queries.recipes().filter(blend__brief=brief, blend__archived=False, sealed=True)
    kept = [recipe for recipe in found if recipe.state != Recipe.State.RETIRED]
    return sorted(kept, key=lambda r: (r.state != Recipe.State.IN_SERVICE, -r.made_at.timestamp()))


def _chosen(
    shares: Shares, more: Sequence[Approach], recipes: list[Recipe], beliefs: Beliefs | None
) -> list[Approach]:
    """Return the coffees of the triangle, those at the corners first."""
    chosen = [*dict.fromkeys([*shares, *more])]
    if not more:
        for recipe in recipes[:2]:
            added = [share.approach for share in recipe.shares.all()]
            merged = [*dict.fromkeys([*chosen, *added])]
            chosen = merged if len(merged) <= MOST else chosen
        cupped = [] if beliefs is None else [a for a in approaches() if a not in chosen]
        chosen += cupped[: max(0, LEAST - len(chosen))]
    return chosen


def _problem(brief: Brief, beliefs: Beliefs | None, chosen: list[Approach]) -> str:
    if beliefs is None:
        return "Nothing was cupped yet: hold a table with these coffees and reveal it."
    unknown = [str(a) for a in chosen if component_name(a) not in beliefs.components]
    if unknown:
        return f"Nothing is believed of {', '.join(unknown)}; leave it out below."
    if not LEAST <= len(chosen) <= MOST:
        return f"A triangle takes {LEAST} to {MOST} coffees; tick them below."
    try:
        wants = room_brief(brief)
    except InputError as error:
        return sentence(error)
    missing = [a for a in wants.attributes if a not in beliefs.attributes]
    return f"The brief wants {missing[0]}, which no table has rated yet." if missing else ""


@dataclass(frozen=True, slots=True)
class _Data:
    """What the browser is sent about one brief and its coffees."""

    brief: Brief
    beliefs: Beliefs
    coffees: list[Approach]
    currency: str

    def whole(self, shares: Shares, recipes: list[Recipe]) -> dict[str, Any]:
        wants = room_brief(self.brief)
        costs = costs_now()
        names = [component_name(a) for a in self.coffees]
        few = self.beliefs.restrict(names)
        return {
            "brief": self.brief.name,
            "currency": self.currency,
            "weeklyKg": queries.weekly_kg(self.brief),
            "coffees": self._coffees(costs, stock_now(costs.loss)),
            "shares": self._row(shares),
            "pairs": [list(pair) for pair in few.layout.pairs],
            "attributes": [self._attribute(few, name, wants) for name in few.attributes],
            "limits": {
                "leastShare": self.brief.min_share_ppm,
                "mostCoffees": self.brief.max_components,
                "costCap": None if self.brief.cost_cap is None else float(self.brief.cost_cap),
                "rows": [self._limit(limit) for limit in self.brief.limits.all()],
                "lasting": self.brief.lasting,
                "lastingWeeks": self.brief.lasting_weeks,
                "lastingText": lasting_text(self.brief),
            },
            "points": [*self._cupped(), *self._recipe_points(recipes)],
        }

    def _coffees(self, costs: Costs, stock: Stock) -> list[dict[str, Any]]:
        per_kg = costs.per_kg()
        found = []
        for slot, approach in enumerate(self.coffees, 1):
            name = component_name(approach)
            found.append(
                {
                    "key": approach.pk,
                    "name": str(approach),
                    "slot": slot,
                    "cost": per_kg.get(name),
                    "lot": approach.lot_id,
                    "lotName": approach.lot.name,
                    "greenKg": stock.green_kg[approach.lot_id],
                    "loss": stock.loss[name],
                }
            )
        return found

    def _limit(self, limit: BriefLimit) -> dict[str, Any]:
        inside = members(rule_of(limit), self.coffees)
        return {
            "text": limit_text(limit),
            "row": [approach in inside for approach in self.coffees],
            "low": limit.low_ppm,
            "high": limit.high_ppm,
        }

    def _row(self, shares: Shares) -> list[int]:
        if not shares:
            third = PPM // 3
            return [PPM - 2 * third, third, third] + [0] * (len(self.coffees) - 3)
        return [shares.get(approach, 0) for approach in self.coffees]

    def _attribute(self, few: Beliefs, name: str, wants: RoomBrief) -> dict[str, Any]:
        part = few.parts[few.attributes.index(name)]
        block = part.block(np.arange(len(few.components) + len(few.layout.pairs)))
        d = block.means.shape[1]
        upper = np.triu_indices(d)
        own = [w for w in self.brief.wants.all() if w.attribute.name == name]
        rooms = [w for w in wants.wants if w.attribute == name]
        return {
            "name": name,
            "event": _ends(wants.events.get(name)),
            "wants": [
                {"text": want_text(want), "must": want.must, "ends": _ends(room.event)}
                for want, room in zip(own, rooms, strict=True)
            ],
            "parts": len(block.weights),
            "terms": d,
            "weights": _packed(block.weights),
            "means": _packed(block.means),
            "covariances": _packed(block.covariances[:, upper[0], upper[1]]),
            "unseen": _packed(part.pair_variance),
        }

    def _cupped(self) -> list[dict[str, Any]]:
        """Return what revealed tables have tasted of these coffees: each composition once."""
        place = {approach.pk: n for n, approach in enumerate(self.coffees)}
        revealed = Cupping.objects.filter(state=Cupping.State.REVEALED, void=False)
        samples = (
            Sample.objects.filter(cups__cupping__in=revealed)
            .distinct()
            .prefetch_related("parts__batch__approach_version")
            .order_by("id")
        )
        found: dict[tuple[int, ...], list[str]] = {}
        for sample in samples:
            row = [0] * len(self.coffees)
            for part in sample.parts.all():
                n = place.get(part.batch.approach_version.approach_id)
                if n is None:
                    break
                row[n] += part.share_ppm
            else:
                found.setdefault(tuple(row), []).append(sample.label)
        return [
            {"kind": "cupped", "name": labels[-1], "times": len(labels), "shares": list(row)}
            for row, labels in found.items()
        ]

    def _recipe_points(self, recipes: Iterable[Recipe]) -> list[dict[str, Any]]:
        known = set(self.coffees)
        return [
            {
                "kind": "service" if recipe.state == Recipe.State.IN_SERVICE else "trial",
                "name": str(recipe),
                "times": 0,
                "shares": self._row(dict(parts_of(recipe))),
            }
            for recipe in recipes
            if all(approach in known for approach, _ in parts_of(recipe))
        ]


def _ends(event: tuple[float, float] | None) -> list[float | None] | None:
    """Write an interval as JSON can: open ends are null."""
    return None if event is None else [float(end) if np.isfinite(end) else None for end in event]


def _packed(numbers: NDArray[np.float64]) -> str:
    """Write numbers as base64 of little-endian doubles: exact, and half as long as their digits."""
    return base64.b64encode(np.ascontiguousarray(numbers, dtype="<f8").tobytes()).decode("ascii")


def figures(brief: Brief, rows: Sequence[Shares]) -> list[dict[str, Any]]:
    """Return what the server says of recipes: the figures that the browser works out by itself."""
    beliefs, costs = beliefs_now(), costs_now()
    stock = stock_now(costs.loss)
    found = []
    for shares in rows:
        recipe = {component_name(a): ppm / PPM for a, ppm in shares.items() if ppm}
        served = serve(brief, beliefs, recipe)
        if served is None:
            raise InputError(f"nothing is believed of {made_of(shares.items())}")
        card, makes = costs.card(recipe), stock.makes(recipe)
        found.append(
            {
                "chance": served.chance,
                "profile": {
                    name: [b.mean, b.sd, b.low90, b.low50, b.high50, b.high90]
                    for name, b in served.profile.items()
                },
                "wants": [want.chance for want in served.wants],
                "cost": float(card.coffee) if card else None,
                "makes": makes.roasted_kg if makes else None,
                "endsFirst": makes.lot if makes else "",
            }
        )
    return found
