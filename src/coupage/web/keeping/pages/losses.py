"""The loss to plan with, and how the losses of a coffee moved while its green dried."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse
from django.utils import timezone

from coupage.web.batches.losses import expected_losses
from coupage.web.batches.models import Batch
from coupage.web.coffees.models import Approach, Lot
from coupage.web.common.charts import ProfileChart, ProfileRow, TrendChart, TrendPoint, TrendSeries
from coupage.web.common.drawing import Doubt, nice_ticks

__all__ = ["LossRow", "LossesPage", "losses_page"]


@dataclass(frozen=True, slots=True)
class LossRow:
    approach: Approach
    mean: str
    interval: str
    batch_sd: str
    batches: int
    cautious: str


@dataclass(frozen=True, slots=True)
class LossesPage:
    rows: tuple[LossRow, ...]
    picture: ProfileChart | None
    lot: Lot | None
    over_time: TrendChart | None
    sentence: str


def losses_page(lot: Lot | None) -> LossesPage:
    """Return the expected loss of every approach in use; with a lot, how its losses moved."""
    estimates = expected_losses()
    approaches = [
        a
        for a in Approach.objects.filter(archived=False, lot__archived=False).select_related("lot")
        if lot is None or a.lot_id == lot.pk
    ]
    rows, bars = [], []
    for approach in approaches:
        e = estimates[approach.pk]
        rows.append(
            LossRow(
                approach,
                f"{100 * e.mean:.1f} %",
                f"{100 * e.low90:.1f}–{100 * e.high90:.1f}",
                f"{100 * e.batch_sd:.2f}",
                e.batches,
                f"{100 * e.quantile(0.95):.1f} %",
            )
        )
        doubt = Doubt(100 * e.mean, 100 * e.low50, 100 * e.high50, 100 * e.low90, 100 * e.high90)
        href = f"{reverse('keeping:losses')}?lot={approach.lot_id}"
        note = f"{e.batches} batches" if e.batches != 1 else "1 batch"
        bars.append(ProfileRow(str(approach), (doubt,), note=note, href=href))
    picture = None
    if bars:
        doubts = [row.values[0] for row in bars if row.values[0] is not None]
        ticks = nice_ticks(min(d.low90 for d in doubts), max(d.high90 for d in doubts))
        picture = ProfileChart(bars, ("loss, %",), "Expected loss, %", ticks[0], ticks[-1])
    return LossesPage(
        tuple(rows), picture, lot, _over_time(lot) if lot else None, _sentence(rows, lot)
    )


def _sentence(rows: list[LossRow], lot: Lot | None) -> str:
    if not rows:
        return "There is no coffee to plan for yet."
    if lot is not None and len(rows) == 1:
        row = rows[0]
        return f"Plan {row.approach} with a loss of {row.mean} (90 %: {row.interval})."
    return "What to plan with, from the newest batches of each coffee; few batches lean on others."


def _over_time(lot: Lot) -> TrendChart | None:
    batches = (
        Batch.objects.filter(
            approach_version__approach__lot=lot, void=False, roasted_g__isnull=False
        )
        .select_related("approach_version__approach")
        .order_by("roasted_at", "id")
    )
    by_approach: dict[str, list[TrendPoint]] = {}
    for batch in batches:
        lost = 100 * (1 - (batch.roasted_g or 0) / batch.green_g)
        flag = "on hold" if batch.verdict == "hold" else ""
        point = TrendPoint(
            timezone.localtime(batch.roasted_at), value=lost, flag=flag, label=batch.number
        )
        by_approach.setdefault(batch.approach_version.approach.name, []).append(point)
    if not by_approach:
        return None
    series = tuple(TrendSeries(name, tuple(points)) for name, points in by_approach.items())
    return TrendChart(
        series[:6], caption=f"Loss of {lot.name}, batch after batch", unit="%", places=2, height=260
    )
