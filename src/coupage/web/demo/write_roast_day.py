"""Today's roast day of the demo, planned from its orders and its stock as everybody's would be."""

from __future__ import annotations

import datetime as dt

from coupage.plan import roast_day
from coupage.web.demo.write_tables import TableWriter
from coupage.web.roastdays.facts import STEP_KG, facts_of
from coupage.web.roastdays.finding import told_of, write_batches
from coupage.web.roastdays.models import DayPlan

__all__ = ["write_roast_day"]


def write_roast_day(writer: TableWriter) -> None:
    """Plan today for what is due until the day after tomorrow."""
    day = DayPlan.objects.create(
        on=writer.today, until=writer.day(-2), starts_at=dt.time(7, 30), hours=6,
        made_by=writer.person["idris"],
    )  # fmt: skip
    facts = facts_of(day)
    plan = roast_day(
        facts.demand, facts.recipes, facts.losses, facts.drums, **facts.arguments(),
        charge_step_kg=STEP_KG,
    )  # fmt: skip
    write_batches(day, facts, plan.batches)
    day.found = told_of(facts, plan)
    day.save(update_fields=["found"])
