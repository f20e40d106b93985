"""Roast curves, how a file's columns were understood, and what curves are held against."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from coupage.web.batches.models import Batch, Machine
from coupage.web.coffees.models import Approach

__all__ = ["FileColumns", "PhaseMark", "Probe", "ReferenceCurve", "RoastCurve"]


class RoastCurve(models.Model):
    """The logged temperatures of one batch, as they came.

    ``readings`` holds seconds and temperatures packed (see ``packing.py``); the figures beside it
    are read off the cleaned curve, for lists.
    """

    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, related_name="curve")
    readings = models.BinaryField()
    digest = models.CharField(max_length=64)
    filename = models.CharField(max_length=120)
    count = models.PositiveIntegerField("readings")
    duration_s = models.PositiveIntegerField("length")
    drop_c = models.DecimalField("temperature at the drop", max_digits=4, decimal_places=1)
    turning_point_s = models.PositiveIntegerField("turning point", null=True, blank=True)
    spikes = models.PositiveIntegerField(default=0)
    gap_s = models.PositiveIntegerField("without readings", default=0)
    taken_in_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    void = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ["-batch__roasted_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(count__gt=0), name="curve_has_readings"),
            models.CheckConstraint(condition=Q(duration_s__gt=0), name="curve_has_length"),
        ]

    def __str__(self) -> str:
        return f"Curve of {self.batch.number}"


class FileColumns(models.Model):
    """How files with these headings are read; remembered once somebody has said so.

    ``preview`` keeps the first rows of the file that was met first, so that whoever names the
    columns sees figures. ``settled`` is False while nobody has named them.
    """

    class TimeUnit(models.TextChoices):
        SECONDS = "s", "seconds"
        MINUTES = "min", "minutes, with decimals"
        CLOCK = "clock", "a clock, such as 10:40"

    headings = models.JSONField()
    signature = models.CharField(max_length=64, unique=True)
    preview = models.JSONField(default=list)
    time_column = models.CharField(max_length=200, blank=True)
    time_unit = models.CharField(max_length=5, choices=TimeUnit.choices, default=TimeUnit.SECONDS)
    bean_column = models.CharField("bean temperature", max_length=200, blank=True)
    fahrenheit = models.BooleanField("temperatures are in °F", default=False)
    settled = models.BooleanField(default=False)
    first_file = models.CharField(max_length=120)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-id"]
        verbose_name = "set of columns"
        verbose_name_plural = "sets of columns"
        constraints = [
            models.CheckConstraint(
                condition=Q(settled=False) | (~Q(time_column="") & ~Q(bean_column="")),
                name="file_columns_settled_are_named",
            ),
            models.CheckConstraint(
                condition=Q(time_unit__in=["s", "min", "clock"]), name="file_columns_time_unit"
            ),
        ]

    def __str__(self) -> str:
        return f"Columns of {self.first_file}"


class Probe(models.Model):
    """How curves of one machine are looked at. Probes differ in lag and place: all is settable."""

    class Align(models.TextChoices):
        CHARGE = "charge", "at charge"
        TURNING_POINT = "turning point", "at the turning point"

    machine = models.OneToOneField(Machine, on_delete=models.PROTECT, related_name="probe")
    align = models.CharField(max_length=13, choices=Align.choices, default=Align.CHARGE)
    band_c = models.DecimalField(
        "band around a single reference",
        max_digits=3,
        decimal_places=1,
        default=Decimal("2.0"),
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal("30"))],
    )
    smoothing_s = models.PositiveSmallIntegerField(
        "smoothing", default=31, validators=[MinValueValidator(3), MaxValueValidator(300)]
    )
    skip_s = models.PositiveSmallIntegerField(
        "left out after charge", default=90, validators=[MaxValueValidator(600)]
    )
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(align__in=["charge", "turning point"]), name="probe_align_known"
            ),
            models.CheckConstraint(condition=Q(band_c__gt=0), name="probe_band_positive"),
        ]

    def __str__(self) -> str:
        return f"Probe of {self.machine}"


class PhaseMark(models.Model):
    """A temperature at which a phase ends on this machine, by the name the roaster gives it."""

    probe = models.ForeignKey(Probe, on_delete=models.CASCADE, related_name="marks")
    name = models.CharField(max_length=30)
    temperature_c = models.DecimalField(
        max_digits=4,
        decimal_places=1,
        validators=[MinValueValidator(Decimal("50")), MaxValueValidator(Decimal("300"))],
    )

    class Meta:
        ordering = ["probe", "temperature_c"]
        constraints = [
            models.UniqueConstraint(fields=["probe", "name"], name="phase_mark_name_once"),
            models.CheckConstraint(
                condition=Q(temperature_c__range=(50, 300)), name="phase_mark_range"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} at {self.temperature_c} °C"


class ReferenceCurve(models.Model):
    """Which curve others of an approach on a machine are held against, from a date on."""

    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="+")
    machine = models.ForeignKey(Machine, null=True, on_delete=models.PROTECT, related_name="+")
    curve = models.ForeignKey(RoastCurve, on_delete=models.PROTECT, related_name="references")
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="reference_has_reason"),
            models.UniqueConstraint(
                fields=["approach", "machine"],
                condition=Q(ended_at__isnull=True),
                name="reference_one_at_a_time",
            ),
            # Two rows without a machine are not alike to a database.
            models.UniqueConstraint(
                fields=["approach"],
                condition=Q(ended_at__isnull=True, machine__isnull=True),
                name="reference_one_without_machine",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.curve} for {self.approach}"
