"""What keeps a coffee the same: baselines of charts, plans of re-cuppings, retained references."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from coupage.web.batches.models import Batch, Machine
from coupage.web.coffees.models import Approach

__all__ = ["AgeingPlan", "Baseline", "Retained"]


class Baseline(models.Model):
    """From when on the charts of an approach on a machine begin anew, and why.

    ``size`` batches from there on set the centre and the limits. Only ever added to.
    """

    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="+")
    machine = models.ForeignKey(Machine, null=True, on_delete=models.PROTECT, related_name="+")
    since = models.DateField("from this day on")
    size = models.PositiveSmallIntegerField(
        "batches that set the limits",
        default=20,
        validators=[MinValueValidator(5), MaxValueValidator(200)],
    )
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-since", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="baseline_has_reason"),
            models.CheckConstraint(condition=Q(size__range=(5, 200)), name="baseline_size_range"),
        ]

    def __str__(self) -> str:
        return f"{self.approach}, baseline of {self.since.isoformat()}"


class AgeingPlan(models.Model):
    """Days after roasting on which a retained sample of a batch is to be cupped again.

    ``days`` is a list of whole days in order. A day is done when a table that was not voided held
    the batch at about that age; nothing has to be ticked.
    """

    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, related_name="ageing")
    days = models.JSONField()
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    ended = models.BooleanField(default=False, editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"Ageing of {self.batch.number}"


class Retained(models.Model):
    """A reference sample put by: which batch, how it is kept, since when, until when."""

    class Kept(models.TextChoices):
        FROZEN = "frozen", "frozen"
        SEALED = "sealed", "sealed, at room temperature"

    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="+")
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="retained")
    kept = models.CharField(max_length=6, choices=Kept.choices, default=Kept.FROZEN)
    since = models.DateField("put by on")
    place = models.CharField("where", max_length=80, blank=True)
    reason = models.CharField("why this batch", max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    ended_on = models.DateField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["-since", "-id"]
        verbose_name = "retained reference"
        constraints = [
            models.CheckConstraint(
                condition=Q(kept__in=["frozen", "sealed"]), name="retained_kept_known"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="retained_has_reason"),
            models.UniqueConstraint(
                fields=["approach"],
                condition=Q(ended_on__isnull=True),
                name="retained_one_at_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"Retained {self.batch.number} of {self.approach}"
