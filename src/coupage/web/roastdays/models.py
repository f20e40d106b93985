"""The plan of a roast day: what it has to meet, and the batches that meet it."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from coupage.web.batches.models import Machine, PlannedBatch
from coupage.web.coffees.models import Approach
from coupage.web.common.dates import day_text

__all__ = ["DayBatch", "DayPlan"]


class DayPlan(models.Model):
    """One day of roasting.

    ``found`` is what the last search said: status, gap, sentence, ways out, what is left undone.
    ``asked_at`` is set while a search is under way; a search writes only while the revision it
    began at still stands, so that a stopped or newer one is never overwritten.
    """

    on = models.DateField("day", unique=True)
    starts_at = models.TimeField("first charge at", default=dt.time(8, 0))
    hours = models.DecimalField(
        "hours of roasting",
        max_digits=4,
        decimal_places=1,
        default=Decimal(8),
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal(24))],
    )
    until = models.DateField("orders due until")
    safety = models.DecimalField(
        "chance that it suffices",
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.95"),
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal("0.999"))],
    )
    use_within_days = models.PositiveSmallIntegerField(
        "roasted coffee counts for",
        default=21,
        validators=[MinValueValidator(1), MaxValueValidator(365)],
    )
    note = models.TextField(blank=True)
    found = models.JSONField(default=dict, editable=False)
    asked_at = models.DateTimeField(null=True, editable=False)
    sent_at = models.DateTimeField("at the machines since", null=True, editable=False)
    closed_at = models.DateTimeField(null=True, editable=False)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        editable=False,
        on_delete=models.PROTECT,
        related_name="+",
    )
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(hours__gt=0, hours__lte=24), name="day_plan_hours_range"
            ),
            models.CheckConstraint(
                condition=Q(safety__gte=Decimal("0.5"), safety__lt=1), name="day_plan_safety_range"
            ),
        ]

    def __str__(self) -> str:
        return f"Roast day of {day_text(self.on)}"


class DayBatch(models.Model):
    """One batch of a plan; minutes count from the day's first charge.

    A pinned one is the roaster's own: it stays as it is while the rest is planned around it.
    ``planned`` is its place on the machine's list, once the plan was sent there.
    """

    day = models.ForeignKey(DayPlan, on_delete=models.CASCADE, related_name="batches")
    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="+")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="+")
    start_minute = models.PositiveSmallIntegerField()
    end_minute = models.PositiveSmallIntegerField()
    charge_g = models.PositiveBigIntegerField("charge")
    expected_g = models.PositiveBigIntegerField("expected out")
    pinned = models.BooleanField(default=False)
    planned = models.OneToOneField(
        PlannedBatch, null=True, blank=True, on_delete=models.PROTECT, related_name="day_batch"
    )

    class Meta:
        ordering = ["day", "machine__name", "start_minute", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(charge_g__gt=0, expected_g__lte=F("charge_g")),
                name="day_batch_masses_in_order",
            ),
            models.CheckConstraint(
                condition=Q(end_minute__gt=F("start_minute")), name="day_batch_takes_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.charge_g / 1000:.1f} kg of {self.approach} on {self.machine}"
