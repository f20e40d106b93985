"""The cupping table: attributes, protocols, samples, cups with blind codes, seats and ratings."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from coupage.units import PPM
from coupage.web.batches.models import Batch

__all__ = [
    "Attribute",
    "Cup",
    "Cupping",
    "CuppingAttribute",
    "CuppingPass",
    "FittedBeliefs",
    "KeptReview",
    "Mend",
    "Part",
    "Protocol",
    "ProtocolStep",
    "Rating",
    "Sample",
    "Seat",
    "Serving",
    "Taster",
    "Word",
]


class Attribute(models.Model):
    """Something a taster rates from 0 to 10, and the difference that the roaster calls the same."""

    class Kind(models.TextChoices):
        INTENSITY = "intensity", "intensity"
        LIKING = "liking", "liking"

    name = models.CharField(max_length=40, unique=True)
    kind = models.CharField(max_length=9, choices=Kind.choices, default=Kind.INTENSITY)
    low_word = models.CharField("word at 0", max_length=30, default="none")
    high_word = models.CharField("word at 10", max_length=30, default="very strong")
    tolerance = models.DecimalField(
        "called the same within",
        max_digits=3,
        decimal_places=1,
        default=Decimal("1.0"),
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal("5"))],
    )
    order = models.PositiveSmallIntegerField(default=100)
    standard = models.BooleanField("on every new table", default=True)
    archived = models.BooleanField(default=False)

    class Meta:
        ordering = ["order", "name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="attribute_has_name"),
            models.CheckConstraint(
                condition=Q(tolerance__gt=0, tolerance__lte=5), name="attribute_tolerance_range"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Protocol(models.Model):
    """How a table is prepared: dose, water and the order of the steps."""

    name = models.CharField(max_length=60, unique=True)
    dose_mg = models.PositiveIntegerField("dose per cup")
    water_g = models.PositiveIntegerField("water per cup")
    water_c = models.DecimalField(
        "water temperature", max_digits=4, decimal_places=1, default=Decimal("93")
    )
    cups_per_sample = models.PositiveSmallIntegerField(default=1)
    passes = models.CharField(
        help_text="Names of the rounds, separated by commas, such as: hot, warm, cool.",
        max_length=120,
        default="taste",
    )
    source = models.CharField(max_length=200, blank=True)
    archived = models.BooleanField(default=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(dose_mg__gt=0, water_g__gt=0), name="protocol_masses_positive"
            ),
            models.CheckConstraint(
                condition=Q(water_c__gt=0, water_c__lte=100), name="protocol_water_range"
            ),
            models.CheckConstraint(
                condition=Q(cups_per_sample__range=(1, 10)), name="protocol_cups_range"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ProtocolStep(models.Model):
    """One step on the clock of a protocol, with the caution that belongs to it."""

    protocol = models.ForeignKey(Protocol, on_delete=models.CASCADE, related_name="steps")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60)
    at_s = models.PositiveIntegerField("seconds after the pour", null=True, blank=True)
    caution = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["protocol", "order"]
        constraints = [
            models.UniqueConstraint(fields=["protocol", "order"], name="protocol_step_order"),
        ]

    def __str__(self) -> str:
        return f"{self.protocol}: {self.name}"


class Taster(models.Model):
    """Somebody who sits at tables, with or without an account."""

    name = models.CharField(max_length=60, unique=True)
    person = models.OneToOneField(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="taster",
    )
    archived = models.BooleanField(default=False)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="taster_has_name")]

    def __str__(self) -> str:
        return self.name


class Sample(models.Model):
    """Coffee that stands on a table: one batch, or a trial blend weighed from several.

    ``sealed`` means that its parts add up to 100 %; the database keeps to that (see ``apps.py``).
    Only sealed samples are put on a table.
    """

    class Kind(models.TextChoices):
        BATCH = "batch", "one batch"
        TRIAL = "trial", "trial blend"

    label = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=5, choices=Kind.choices)
    made_on = models.DateField()
    note = models.TextField(blank=True)
    sealed = models.BooleanField(default=False, editable=False)
    archived = models.BooleanField(default=False)

    class Meta:
        ordering = ["-made_on", "label"]
        constraints = [
            models.CheckConstraint(condition=~Q(label=""), name="sample_has_label"),
        ]

    def __str__(self) -> str:
        return self.label


class Part(models.Model):
    """The share of one batch in a sample, in parts per million by mass."""

    sample = models.ForeignKey(Sample, on_delete=models.CASCADE, related_name="parts")
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="parts")
    share_ppm = models.PositiveIntegerField()

    class Meta:
        ordering = ["sample", "-share_ppm", "id"]
        constraints = [
            models.UniqueConstraint(fields=["sample", "batch"], name="part_batch_once"),
            models.CheckConstraint(
                condition=Q(share_ppm__gt=0, share_ppm__lte=PPM), name="part_share_range"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.share_ppm / 10_000:g} % of {self.batch} in {self.sample}"


class Cupping(models.Model):
    """One table: what stands on it, who tastes, under which codes, in which rounds."""

    class State(models.TextChoices):
        PLANNED = "planned", "being set up"
        OPEN = "open", "under way"
        REVEALED = "revealed", "revealed"

    name = models.CharField(max_length=80, unique=True)
    held_at = models.DateTimeField("held")
    protocol = models.ForeignKey(Protocol, on_delete=models.PROTECT, related_name="cuppings")
    host = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    note = models.TextField(blank=True)
    state = models.CharField(
        max_length=8, choices=State.choices, default=State.PLANNED, editable=False
    )
    revealed_at = models.DateTimeField(null=True, blank=True, editable=False)
    void = models.BooleanField(default=False, editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-held_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="cupping_has_name"),
            models.CheckConstraint(
                condition=Q(state="revealed", revealed_at__isnull=False)
                | (~Q(state="revealed") & Q(revealed_at__isnull=True)),
                name="cupping_revealed_has_time",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class CuppingAttribute(models.Model):
    """An attribute that is rated at this table."""

    cupping = models.ForeignKey(Cupping, on_delete=models.CASCADE, related_name="asked")
    attribute = models.ForeignKey(Attribute, on_delete=models.PROTECT, related_name="+")
    order = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["cupping", "order"]
        constraints = [
            models.UniqueConstraint(fields=["cupping", "attribute"], name="cupping_attribute_once"),
        ]

    def __str__(self) -> str:
        return f"{self.attribute} at {self.cupping}"


class CuppingPass(models.Model):
    """One round of tasting at this table."""

    cupping = models.ForeignKey(Cupping, on_delete=models.CASCADE, related_name="rounds")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=30)

    class Meta:
        ordering = ["cupping", "order"]
        verbose_name_plural = "cupping passes"
        constraints = [
            models.UniqueConstraint(fields=["cupping", "order"], name="cupping_pass_order"),
            models.UniqueConstraint(fields=["cupping", "name"], name="cupping_pass_once"),
        ]

    def __str__(self) -> str:
        return self.name


class Seat(models.Model):
    """A taster at this table."""

    cupping = models.ForeignKey(Cupping, on_delete=models.CASCADE, related_name="seats")
    taster = models.ForeignKey(Taster, on_delete=models.PROTECT, related_name="seats")
    order = models.PositiveSmallIntegerField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["cupping", "order"]
        constraints = [
            models.UniqueConstraint(fields=["cupping", "taster"], name="seat_taster_once"),
        ]

    def __str__(self) -> str:
        return f"{self.taster} at {self.cupping}"


class Cup(models.Model):
    """One cup under its blind code. Several cups of one sample are hidden repeats."""

    cupping = models.ForeignKey(Cupping, on_delete=models.CASCADE, related_name="cups")
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="cups")
    number = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=4)

    class Meta:
        ordering = ["cupping", "code"]
        constraints = [
            models.UniqueConstraint(fields=["cupping", "code"], name="cup_code_once"),
            models.UniqueConstraint(
                fields=["cupping", "sample", "number"], name="cup_of_sample_once"
            ),
            models.CheckConstraint(condition=~Q(code=""), name="cup_has_code"),
            models.CheckConstraint(condition=Q(number__gte=1), name="cup_number_from_1"),
        ]

    def __str__(self) -> str:
        return self.code


class Serving(models.Model):
    """The place of a cup in one taster's order."""

    seat = models.ForeignKey(Seat, on_delete=models.CASCADE, related_name="servings")
    cup = models.ForeignKey(Cup, on_delete=models.CASCADE, related_name="servings")
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["seat", "position"]
        constraints = [
            models.UniqueConstraint(fields=["seat", "cup"], name="serving_cup_once"),
            models.UniqueConstraint(fields=["seat", "position"], name="serving_position_once"),
        ]

    def __str__(self) -> str:
        return f"{self.seat}: {self.cup} at {self.position}"


class Rating(models.Model):
    """One taster's value for one attribute of one cup in one pass, 0 to 10.

    That the cup, the seat and the pass belong to one cupping, and that the cupping asks for the
    attribute, is kept by the database (see ``apps.py``).
    """

    cup = models.ForeignKey(Cup, on_delete=models.CASCADE, related_name="ratings")
    seat = models.ForeignKey(Seat, on_delete=models.CASCADE, related_name="ratings")
    round = models.ForeignKey(CuppingPass, on_delete=models.CASCADE, related_name="ratings")
    attribute = models.ForeignKey(Attribute, on_delete=models.PROTECT, related_name="ratings")
    value = models.DecimalField(
        max_digits=4,
        decimal_places=2,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(10))],
    )
    at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["cup", "seat", "attribute", "round"], name="rating_once"
            ),
            models.CheckConstraint(condition=Q(value__gte=0, value__lte=10), name="rating_0_to_10"),
        ]

    def __str__(self) -> str:
        return f"{self.attribute} {self.value}"


class Word(models.Model):
    """A free tasting note of one taster on one cup."""

    cup = models.ForeignKey(Cup, on_delete=models.CASCADE, related_name="words")
    seat = models.ForeignKey(Seat, on_delete=models.CASCADE, related_name="words")
    text = models.CharField(max_length=40)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["cup", "seat", "text"], name="word_once"),
            models.CheckConstraint(condition=~Q(text=""), name="word_not_empty"),
        ]

    def __str__(self) -> str:
        return self.text


class Mend(models.Model):
    """What somebody did about a rating that does not fit: corrected it, or set it aside.

    ``was`` is the value that the taster gave, ``became`` the corrected one; empty: set aside. A
    rating that is given anew afterwards counts as it stands. Mends made ``together`` are undone
    together.
    """

    rating = models.ForeignKey(Rating, on_delete=models.CASCADE, related_name="mends")
    was = models.DecimalField(max_digits=4, decimal_places=2)
    became = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    reason = models.CharField(max_length=200)
    together = models.CharField(max_length=32, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["rating"], condition=Q(undone_at__isnull=True), name="mend_one_at_a_time"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="mend_has_reason"),
            models.CheckConstraint(
                condition=Q(was__gte=0, was__lte=10)
                & (Q(became__isnull=True) | Q(became__gte=0, became__lte=10)),
                name="mend_0_to_10",
            ),
        ]

    def __str__(self) -> str:
        return (
            f"{self.was:g}, set aside"
            if self.became is None
            else f"{self.was:g} to {self.became:g}"
        )


class KeptReview(models.Model):
    """What did not fit, kept with the fingerprint of the data and the model that found it."""

    fingerprint = models.CharField(max_length=64)
    model_version = models.CharField(max_length=20)
    made_at = models.DateTimeField()
    data = models.BinaryField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fingerprint", "model_version"], name="kept_review_once"
            ),
        ]

    def __str__(self) -> str:
        return self.fingerprint[:12]


class FittedBeliefs(models.Model):
    """Beliefs kept with the fingerprint of the data they came from and the model that made them."""

    fingerprint = models.CharField(max_length=64)
    model_version = models.CharField(max_length=20)
    made_at = models.DateTimeField()
    data = models.BinaryField()

    class Meta:
        verbose_name_plural = "fitted beliefs"
        constraints = [
            models.UniqueConstraint(
                fields=["fingerprint", "model_version"], name="fitted_beliefs_once"
            ),
        ]

    def __str__(self) -> str:
        return self.fingerprint[:12]
