"""Plans: what to roast on a day, as whole batches."""

from __future__ import annotations

from coupage.plan.check_plan import check_plan
from coupage.plan.day import Drum, Order, PlannedBatch, RoastDay, WayOut, WayOutPrices
from coupage.plan.problem import Pin
from coupage.plan.repair_day import DoneBatch, Repair, repair_day
from coupage.plan.roast_day import roast_day

__all__ = [
    "DoneBatch",
    "Drum",
    "Order",
    "Pin",
    "PlannedBatch",
    "Repair",
    "RoastDay",
    "WayOut",
    "WayOutPrices",
    "check_plan",
    "repair_day",
    "roast_day",
]
