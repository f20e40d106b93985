"""Plans: what to roast on a day, what to buy by when, and how to change a recipe over."""

from __future__ import annotations

from coupage.plan.check_plan import check_plan
from coupage.plan.check_supply import check_cutover, check_supply
from coupage.plan.cutover import Cutover, cutover
from coupage.plan.day import Drum, Order, PlannedBatch, RoastDay, WayOut, WayOutPrices
from coupage.plan.problem import Pin
from coupage.plan.repair_day import DoneBatch, Repair, repair_day
from coupage.plan.roast_day import roast_day
from coupage.plan.supply import Offer, Purchase, Supply, supply

__all__ = [
    "Cutover",
    "DoneBatch",
    "Drum",
    "Offer",
    "Order",
    "Pin",
    "PlannedBatch",
    "Purchase",
    "Repair",
    "RoastDay",
    "Supply",
    "WayOut",
    "WayOutPrices",
    "check_cutover",
    "check_plan",
    "check_supply",
    "cutover",
    "repair_day",
    "roast_day",
    "supply",
]
