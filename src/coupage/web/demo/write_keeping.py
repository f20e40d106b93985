"""What the demo watches: a sample as it ages, a reference put by, a chart begun anew."""

from __future__ import annotations

from coupage.web.demo.write_tables import TableWriter
from coupage.web.keeping.models import AgeingPlan, Baseline, Retained

__all__ = ["write_keeping"]

_AGED, _DAYS = "28a", [2, 5, 9, 14, 28]
_KEPT, _SINCE = "35a", 33


def write_keeping(writer: TableWriter) -> None:
    """Write the plan, the reference and the baseline of a draw of the demo."""
    aged, kept = writer.batch[_AGED], writer.batch[_KEPT]
    AgeingPlan.objects.create(
        batch=aged,
        days=_DAYS,
        note="Brown jars, shelf by the table",
        at=writer.moment(27, 9 * 60),
        by=writer.person["lotte"],
    )
    Retained.objects.create(
        approach=kept.approach_version.approach,
        batch=kept,
        kept=Retained.Kept.SEALED,
        since=writer.day(_SINCE),
        place="Cupboard by the table",
        reason="Every number on target, and the table liked it.",
        at=writer.moment(_SINCE, 16 * 60),
        by=writer.person["idris"],
    )
    plan = writer.scenario.batch["70a"]
    Baseline.objects.create(
        approach=writer.approach[plan.approach],
        machine=writer.machine["Large drum"],
        since=writer.day(70),
        size=10,
        reason="Burner cleaned and set anew before the season.",
        at=writer.moment(69, 17 * 60),
        by=writer.person["idris"],
    )
