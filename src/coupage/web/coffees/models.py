"""Lots of green coffee, their stock, and the approaches by which they are roasted."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

__all__ = [
    "Approach",
    "ApproachVersion",
    "Lot",
    "Process",
    "Reservation",
    "Species",
    "StockEntry",
]


class Process(models.TextChoices):
    WASHED = "washed", "Washed"
    NATURAL = "natural", "Natural"
    HONEY = "honey", "Honey"
    WET_HULLED = "wet-hulled", "Wet-hulled"
    OTHER = "other", "Other"


class Species(models.TextChoices):
    ARABICA = "arabica", "Arabica"
    CANEPHORA = "canephora", "Canephora (robusta)"
    LIBERICA = "liberica", "Liberica"
    OTHER = "other", "Other"


class Lot(models.Model):
    """One delivery of green coffee."""

    name = models.CharField(max_length=60, unique=True)
    origin = models.CharField("country of origin", max_length=60)
    region = models.CharField(max_length=80, blank=True)
    producer = models.CharField(max_length=120, blank=True)
    process = models.CharField(max_length=12, choices=Process.choices, default=Process.WASHED)
    species = models.CharField(max_length=12, choices=Species.choices, default=Species.ARABICA)
    decaffeinated = models.BooleanField(default=False)
    crop_year = models.CharField(max_length=9, blank=True)
    moisture_pct = models.DecimalField(
        "moisture",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("2")), MaxValueValidator(Decimal("30"))],
    )
    price_per_kg = models.DecimalField(
        "landed price",
        max_digits=10,
        decimal_places=4,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0"))],
    )
    bag_g = models.PositiveBigIntegerField("bag", null=True, blank=True)
    note = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="lot_has_name"),
            models.CheckConstraint(
                condition=Q(process__in=Process.values) & Q(species__in=Species.values),
                name="lot_process_and_species_known",
            ),
            models.CheckConstraint(
                condition=Q(moisture_pct__isnull=True) | Q(moisture_pct__range=(2, 30)),
                name="lot_moisture_range",
            ),
            models.CheckConstraint(
                condition=Q(price_per_kg__isnull=True) | Q(price_per_kg__gte=0),
                name="lot_price_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(bag_g__isnull=True) | Q(bag_g__gt=0), name="lot_bag_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class StockEntry(models.Model):
    """One line of a lot's ledger, only ever added to. Green used by batches is counted there.

    A receipt in bags keeps how many and how heavy; bags of one delivery weigh alike.
    """

    class Kind(models.TextChoices):
        RECEIPT = "receipt", "Received"
        COUNT = "count", "Corrected after a count"
        MOISTURE = "moisture", "Moisture gained or lost"
        SOLD = "sold", "Sold or given away as green"

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="stock_entries")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    mass_g = models.BigIntegerField()
    on = models.DateField()
    bags = models.PositiveIntegerField(null=True, blank=True)
    bag_g = models.PositiveBigIntegerField("one bag", null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["on", "id"]
        verbose_name_plural = "stock entries"
        constraints = [
            models.CheckConstraint(
                condition=Q(bags__isnull=True, bag_g__isnull=True)
                | Q(kind="receipt", bags__gt=0, bag_g__gt=0, mass_g=F("bags") * F("bag_g")),
                name="stock_bags_weigh_what_they_hold",
            ),
            models.CheckConstraint(condition=~Q(mass_g=0), name="stock_entry_not_zero"),
            models.CheckConstraint(
                condition=~Q(kind="receipt") | Q(mass_g__gt=0), name="stock_receipt_positive"
            ),
            models.CheckConstraint(
                condition=~Q(kind="sold") | Q(mass_g__lt=0), name="stock_sold_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.mass_g / 1000:+.1f} kg of {self.lot}"


class Reservation(models.Model):
    """One line of what is promised of a lot's green, only ever added to.

    A positive mass promises it to ``purpose``, such as the plan of a roast day; a negative one lets
    go of it, since it was roasted or is not needed. What is free is on hand less the sum of these.
    The database refuses to promise what is not free, and to let go of more than was promised (see
    ``apps.py``), so that two people cannot take the same kilogram.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="reservations")
    purpose = models.CharField(max_length=80)
    mass_g = models.BigIntegerField()
    on = models.DateField()
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["on", "id"]
        indexes = [models.Index(fields=["lot", "purpose"])]
        constraints = [
            models.CheckConstraint(condition=~Q(mass_g=0), name="reservation_not_zero"),
            models.CheckConstraint(condition=~Q(purpose=""), name="reservation_has_purpose"),
        ]

    def __str__(self) -> str:
        return f"{self.mass_g / 1000:+.1f} kg of {self.lot} for {self.purpose}"


class Approach(models.Model):
    """The way a lot is roasted. A lot by an approach is a component of blends."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="approaches")
    name = models.CharField(max_length=40)
    archived = models.BooleanField(default=False)

    class Meta:
        ordering = ["lot__name", "name"]
        verbose_name_plural = "approaches"
        constraints = [
            models.UniqueConstraint(fields=["lot", "name"], name="approach_once_per_lot"),
            models.CheckConstraint(condition=~Q(name=""), name="approach_has_name"),
        ]

    def __str__(self) -> str:
        # Brackets, not a comma: the name stands in sentences that list several.
        return f"{self.lot.name} ({self.name})"


class ApproachVersion(models.Model):
    """Targets and tolerances of an approach from a date on. Older versions stay for their batches.

    Default tolerances are common practice, without a published source; a roaster changes them here.
    """

    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    since = models.DateField()
    charge_g = models.PositiveBigIntegerField("charge", null=True, blank=True)
    loss_pct = models.DecimalField("loss", max_digits=4, decimal_places=1, null=True, blank=True)
    loss_tolerance_pct = models.DecimalField(max_digits=3, decimal_places=1, default=Decimal("0.5"))
    colour = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    colour_scale = models.CharField("name of the colour scale", max_length=40, blank=True)
    colour_tolerance = models.DecimalField(max_digits=4, decimal_places=1, default=Decimal("2"))
    seconds = models.PositiveIntegerField("roast time", null=True, blank=True)
    seconds_tolerance = models.PositiveIntegerField(default=15)
    end_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    end_temperature_tolerance_c = models.DecimalField(
        max_digits=3, decimal_places=1, default=Decimal("1")
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["approach", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["approach", "number"], name="approach_version_number"),
            models.CheckConstraint(
                condition=Q(charge_g__isnull=True) | Q(charge_g__gt=0),
                name="approach_charge_positive",
            ),
            models.CheckConstraint(
                condition=Q(loss_pct__isnull=True) | Q(loss_pct__gte=0, loss_pct__lt=60),
                name="approach_loss_range",
            ),
            models.CheckConstraint(
                condition=Q(colour__isnull=True) | ~Q(colour_scale=""),
                name="approach_colour_has_scale",
            ),
            models.CheckConstraint(
                condition=Q(
                    loss_tolerance_pct__gt=0,
                    colour_tolerance__gt=0,
                    seconds_tolerance__gt=0,
                    end_temperature_tolerance_c__gt=0,
                ),
                name="approach_tolerances_positive",
            ),
            models.CheckConstraint(condition=Q(number__gte=1), name="approach_version_from_1"),
        ]

    def __str__(self) -> str:
        return f"{self.approach}, version {self.number}"
