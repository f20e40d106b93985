"""Roast batches, the machines they come from, and the verdicts on them."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from coupage.web.coffees.models import Approach, ApproachVersion

__all__ = ["Batch", "BatchVerdict", "Machine", "PlannedBatch", "RoastedEntry", "Verdict"]


class Machine(models.Model):
    """A roasting machine and the charges it can take."""

    name = models.CharField(max_length=40, unique=True)
    site = models.CharField(max_length=60, blank=True)
    least_charge_g = models.PositiveBigIntegerField("least charge")
    largest_charge_g = models.PositiveBigIntegerField("largest charge")
    # Trade planning figure: 3 to 3.5 batches an hour.
    minutes = models.PositiveSmallIntegerField("minutes for a batch", default=18)
    change_minutes = models.PositiveSmallIntegerField("more between two coffees", default=4)
    archived = models.BooleanField(default=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(least_charge_g__gt=0, largest_charge_g__gte=F("least_charge_g")),
                name="machine_charges_in_order",
            ),
            models.CheckConstraint(
                condition=Q(minutes__range=(1, 240), change_minutes__lte=240),
                name="machine_minutes_range",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Verdict(models.TextChoices):
    WAITING = "waiting", "not judged yet"
    RELEASE = "release", "release"
    LOOK_AGAIN = "look again", "look again"
    HOLD = "hold", "hold"


class Batch(models.Model):
    """One roast of one lot by one version of an approach.

    ``roasted_g`` stays empty until the batch is dropped and weighed. ``verdict`` is the newest row
    of its verdicts, written together with it.
    """

    number = models.CharField(max_length=20, unique=True)
    approach_version = models.ForeignKey(
        ApproachVersion, on_delete=models.PROTECT, related_name="batches"
    )
    machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="batches"
    )
    roasted_at = models.DateTimeField("roasted")
    green_g = models.PositiveBigIntegerField("green in")
    roasted_g = models.PositiveBigIntegerField("roasted out", null=True, blank=True)
    seconds = models.PositiveIntegerField("roast time", null=True, blank=True)
    first_crack_s = models.PositiveIntegerField("first crack", null=True, blank=True)
    end_temperature_c = models.DecimalField(
        "end temperature",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("100")), MaxValueValidator(Decimal("300"))],
    )
    colour = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    colour_scale = models.CharField("name of the colour scale", max_length=40, blank=True)
    colour_ground = models.BooleanField("colour read on ground coffee", default=True)
    operator = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    note = models.TextField(blank=True)
    verdict = models.CharField(
        max_length=10, choices=Verdict.choices, default=Verdict.WAITING, editable=False
    )
    void = models.BooleanField(default=False, editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-roasted_at", "-id"]
        verbose_name_plural = "batches"
        indexes = [models.Index(fields=["approach_version", "-roasted_at"])]
        constraints = [
            models.CheckConstraint(condition=~Q(number=""), name="batch_has_number"),
            models.CheckConstraint(condition=Q(green_g__gt=0), name="batch_green_positive"),
            models.CheckConstraint(
                condition=Q(roasted_g__isnull=True)
                | Q(roasted_g__gt=0, roasted_g__lte=F("green_g")),
                name="batch_roasted_at_most_green",
            ),
            models.CheckConstraint(
                condition=Q(seconds__isnull=True) | Q(seconds__gt=0), name="batch_time_positive"
            ),
            models.CheckConstraint(
                condition=Q(first_crack_s__isnull=True)
                | Q(seconds__isnull=True)
                | Q(first_crack_s__lte=F("seconds")),
                name="batch_first_crack_before_end",
            ),
            models.CheckConstraint(
                condition=Q(end_temperature_c__isnull=True)
                | Q(end_temperature_c__range=(100, 300)),
                name="batch_end_temperature_range",
            ),
            models.CheckConstraint(
                condition=Q(colour__isnull=True) | ~Q(colour_scale=""),
                name="batch_colour_has_scale",
            ),
            models.CheckConstraint(
                condition=Q(verdict__in=Verdict.values), name="batch_verdict_known"
            ),
        ]

    def __str__(self) -> str:
        return f"Batch {self.number}"


class BatchVerdict(models.Model):
    """Who judged a batch how and why. Only ever added to.

    ``proposed`` is what was proposed from numbers and taste at that time; empty where nothing was.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="verdicts")
    verdict = models.CharField(max_length=10, choices=Verdict.choices)
    proposed = models.CharField(max_length=10, blank=True, editable=False)
    reason = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict__in=Verdict.values), name="batch_verdict_row_known"
            ),
            # A hold stops coffee from being used: it never goes without its reason.
            models.CheckConstraint(
                condition=~Q(verdict="hold") | ~Q(reason=""), name="batch_hold_has_reason"
            ),
            models.CheckConstraint(
                condition=Q(proposed="") | Q(proposed=F("verdict")) | ~Q(reason=""),
                name="batch_overruled_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch}: {self.verdict}"


class RoastedEntry(models.Model):
    """One line of the ledger of a batch's roasted coffee, only ever added to.

    What was made is the batch's ``roasted_g`` itself; lines say what happened to it afterwards, so
    that what is on hand at any date is a sum (:func:`coupage.web.batches.queries.stocked`). The
    database refuses a line that would leave less than nothing at any date, and one that takes from
    a batch on hold for a blend (see ``apps.py``). Apps above write lines by
    :mod:`coupage.web.batches.roasted` only.
    """

    class Kind(models.TextChoices):
        BLENDED = "blended", "Weighed into a blend"
        PUT_BACK = "put back", "Put back from a blend"
        TASTED = "tasted", "Pulled for the table"
        WASTED = "wasted", "Thrown away"
        COUNT = "count", "Corrected after a count"

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="roasted_entries")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    mass_g = models.BigIntegerField()
    on = models.DateField()
    at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["on", "id"]
        verbose_name_plural = "roasted entries"
        indexes = [models.Index(fields=["batch", "on"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["blended", "tasted", "wasted"], mass_g__lt=0)
                | Q(kind="put back", mass_g__gt=0)
                | (Q(kind="count") & ~Q(mass_g=0)),
                name="roasted_entry_sign",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["wasted", "count"]) | ~Q(reason=""),
                name="roasted_entry_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.mass_g / 1000:+.1f} kg of {self.batch}"


class PlannedBatch(models.Model):
    """A batch that is to be roasted on a day. Charging it makes the batch."""

    on = models.DateField("day")
    order = models.PositiveSmallIntegerField(default=0)
    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="planned")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="planned")
    green_g = models.PositiveBigIntegerField("charge")
    note = models.CharField(max_length=200, blank=True)
    batch = models.OneToOneField(
        Batch, null=True, blank=True, on_delete=models.PROTECT, related_name="planned"
    )
    dropped = models.BooleanField("taken off the list", default=False, editable=False)

    class Meta:
        ordering = ["on", "order", "id"]
        verbose_name_plural = "planned batches"
        indexes = [models.Index(fields=["machine", "on"])]
        constraints = [
            models.CheckConstraint(condition=Q(green_g__gt=0), name="planned_charge_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.approach}, {self.on.isoformat()}"
