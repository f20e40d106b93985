"""The loss to plan with, of every approach, with its doubt.

One estimate for whoever plans: costs, orders, charges, the day's batches. It is shrunken: an
approach with many batches speaks for itself, one with few leans on others of its name.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.db.models import Window
from django.db.models.functions import RowNumber

from coupage.roast import ExpectedLoss, LossModel, expected_loss
from coupage.web.batches.models import Batch, Verdict
from coupage.web.coffees.models import Approach, ApproachVersion

__all__ = ["NEWEST", "PlannedLosses", "expected_losses"]

# Green dries, machines drift: what an approach lost long ago says little about the next batch.
NEWEST = 30


@dataclass(frozen=True, slots=True)
class PlannedLosses(Mapping[int, ExpectedLoss]):
    """The loss to expect of each approach, by its key; ``model`` answers for new ones too."""

    estimates: dict[int, ExpectedLoss]
    model: LossModel

    def __getitem__(self, approach: int) -> ExpectedLoss:
        return self.estimates[approach]

    def __iter__(self) -> Iterator[int]:
        return iter(self.estimates)

    def __len__(self) -> int:
        return len(self.estimates)


def expected_losses() -> PlannedLosses:
    """Return the loss to plan with for every approach, as a fraction of the green mass.

    Each estimate has ``mean``, ``low50``, ``high50``, ``low90``, ``high90``, ``batch_sd``,
    ``batches`` and ``quantile(chance, batches)``. From the newest batches of each approach that
    were weighed, neither void nor held. Batches by older targets are moved by as much as the
    target of the loss has moved since.
    """
    losses: list[float] = []
    lots: list[str] = []
    names: list[str] = []
    approaches = {a.pk: a for a in Approach.objects.select_related("lot")}
    for key, found in _newest_losses().items():
        losses += found
        lots += [approaches[key].lot.name] * len(found)
        names += [approaches[key].name] * len(found)
    model = expected_loss(losses, lots=lots, approaches=names)
    estimates = {key: model.expect(a.lot.name, a.name) for key, a in approaches.items()}
    return PlannedLosses(estimates, model)


def _newest_losses() -> dict[int, list[float]]:
    """Losses of the newest batches by approach, moved to today's targets."""
    targets = {
        (approach, number): target
        for approach, number, target in ApproachVersion.objects.order_by("number").values_list(
            "approach_id", "number", "loss_pct"
        )
    }
    newest: dict[int, int] = dict(targets.keys())
    rows = (
        Batch.objects.filter(roasted_g__isnull=False, void=False)
        .exclude(verdict=Verdict.HOLD)
        .annotate(
            place=Window(
                RowNumber(),
                partition_by="approach_version__approach_id",
                order_by=["-roasted_at", "-id"],
            )
        )
        .filter(place__lte=NEWEST)
        .order_by("roasted_at", "id")
        .values_list(
            "approach_version__approach_id", "approach_version__number", "green_g", "roasted_g"
        )
    )
    found: defaultdict[int, list[float]] = defaultdict(list)
    for approach, version, green_g, roasted_g in rows:
        then, now = targets[approach, version], targets[approach, newest[approach]]
        moved = 0.0 if then is None or now is None else float(now - then) / 100
        lost = 1 - (roasted_g or 0) / green_g + moved
        found[approach].append(min(max(lost, 0.0), 0.999))
    return found
