"""From beliefs to a recipe: the brief, how well a recipe serves it, and the best one."""

from __future__ import annotations

from coupage.recipe.brief import Brief, Want, WantKind
from coupage.recipe.choosing import Choice, Search, choose, search
from coupage.recipe.deciding import (
    contenders,
    decision_doubt,
    doubt_of_beliefs,
    sample_noise,
    table_spreads,
)
from coupage.recipe.desirability import chance_on_brief, desirability
from coupage.recipe.notice import Noticed, NoticedAttribute, who_notices
from coupage.recipe.reasons import LimitPrice, WantChance, Why, why
from coupage.recipe.rounding import round_shares
from coupage.recipe.worth import Worth, worth_of_tasting

__all__ = [
    "Brief",
    "Choice",
    "LimitPrice",
    "Noticed",
    "NoticedAttribute",
    "Search",
    "Want",
    "WantChance",
    "WantKind",
    "Why",
    "Worth",
    "chance_on_brief",
    "choose",
    "contenders",
    "decision_doubt",
    "desirability",
    "doubt_of_beliefs",
    "round_shares",
    "sample_noise",
    "search",
    "table_spreads",
    "who_notices",
    "why",
    "worth_of_tasting",
]
