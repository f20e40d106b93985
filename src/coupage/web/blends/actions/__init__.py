"""Writes about briefs, blends and recipes, one transaction each."""

from coupage.web.blends.actions.bag import write_card, write_promises
from coupage.web.blends.actions.briefs import add_brief, change_brief
from coupage.web.blends.actions.money import add_green_price, add_house_costs, add_rate
from coupage.web.blends.actions.recipes import (
    add_blend,
    add_recipe,
    approve_recipe,
    change_blend,
    change_recipe,
    make_sample,
    put_in_service,
    retire_recipe,
)

__all__ = [
    "add_blend",
    "add_brief",
    "add_green_price",
    "add_house_costs",
    "add_rate",
    "add_recipe",
    "approve_recipe",
    "change_blend",
    "change_brief",
    "change_recipe",
    "make_sample",
    "put_in_service",
    "retire_recipe",
    "write_card",
    "write_promises",
]
