"""Plans of what to taste next: the question, the limits, and the blends chosen to answer it."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from coupage.units import PPM
from coupage.web.blends.models import Brief, Recipe
from coupage.web.coffees.models import Approach
from coupage.web.cuppings.models import Cupping, Sample

__all__ = ["MOST_COFFEES", "MOST_SAMPLES", "Plan", "PlanCoffee", "PlanGroup", "Trial", "TrialShare"]

MOST_COFFEES = 10
MOST_SAMPLES = 24
_STEPS = (10_000, 20_000, 25_000, 50_000, 100_000)


class Plan(models.Model):
    """What shall be learnt from one table, within which limits, and how large the table may be."""

    class Purpose(models.TextChoices):
        EVERYWHERE = "I", "Learn how every blend of these coffees tastes"
        COEFFICIENTS = "D", "Learn each coffee and each pairing as well as possible"
        DECISION = "decision", "Decide which recipe serves the brief"

    class Order(models.TextChoices):
        LINEAR = "linear", "only its coffees"
        QUADRATIC = "quadratic", "its coffees and their pairings"

    class Step(models.IntegerChoices):
        ONE = 10_000, "1 %"
        TWO = 20_000, "2 %"
        TWO_AND_A_HALF = 25_000, "2.5 %"
        FIVE = 50_000, "5 %"
        TEN = 100_000, "10 %"

    name = models.CharField(max_length=80, unique=True)
    purpose = models.CharField("what for", max_length=8, choices=Purpose.choices, default="I")
    brief = models.ForeignKey(
        Brief, null=True, blank=True, on_delete=models.PROTECT, related_name="plans"
    )
    order = models.CharField(
        "a blend's taste comes from", max_length=9, choices=Order.choices, default="quadratic"
    )
    samples = models.PositiveSmallIntegerField(
        default=6, validators=[MinValueValidator(2), MaxValueValidator(MOST_SAMPLES)]
    )
    repeats = models.PositiveSmallIntegerField("of them hidden repeats", default=1)
    reference = models.ForeignKey(
        Recipe, null=True, blank=True, on_delete=models.PROTECT, related_name="plans"
    )
    tasters = models.PositiveSmallIntegerField(
        default=3, validators=[MinValueValidator(1), MaxValueValidator(30)]
    )
    cups = models.PositiveSmallIntegerField(
        "cups of each sample",
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(10)],
    )
    step_ppm = models.PositiveIntegerField(
        "shares in steps of", choices=Step.choices, default=Step.FIVE
    )
    keep = models.BooleanField("count what was cupped already", default=True)
    one_approach = models.BooleanField("at most one approach of each lot in a blend", default=True)
    difference = models.DecimalField(
        "difference that should be seen",
        max_digits=3,
        decimal_places=1,
        default=Decimal("1.0"),
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal(10))],
    )
    note = models.TextField(blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    # The shares as the search chose them, rows in parts per million in the order of the coffees,
    # so that a plan edited by hand can be held against them.
    chosen = models.JSONField(default=list, blank=True, editable=False)
    cupping = models.OneToOneField(
        Cupping, null=True, blank=True, on_delete=models.PROTECT, related_name="plan"
    )
    sent_at = models.DateTimeField(null=True, blank=True, editable=False)
    void = models.BooleanField(default=False, editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="plan_has_name"),
            models.CheckConstraint(
                condition=Q(purpose__in=["I", "D", "decision"])
                & Q(order__in=["linear", "quadratic"]),
                name="plan_purpose_and_order_known",
            ),
            models.CheckConstraint(
                condition=~Q(purpose="decision") | Q(brief__isnull=False),
                name="plan_decides_for_a_brief",
                violation_error_message="To decide which recipe serves the brief, name the brief.",
            ),
            models.CheckConstraint(
                condition=Q(samples__range=(2, MOST_SAMPLES)), name="plan_samples_range"
            ),
            models.CheckConstraint(
                condition=Q(repeats__lt=F("samples")),
                name="plan_repeats_fewer_than_samples",
                violation_error_message="At least one sample must be left to be repeated.",
            ),
            models.CheckConstraint(
                condition=Q(tasters__range=(1, 30)) & Q(cups__range=(1, 10)),
                name="plan_tasters_and_cups_range",
            ),
            models.CheckConstraint(condition=Q(step_ppm__in=_STEPS), name="plan_step_known"),
            models.CheckConstraint(
                condition=Q(difference__gt=0, difference__lte=10), name="plan_difference_range"
            ),
            models.CheckConstraint(
                condition=Q(cupping__isnull=True, sent_at__isnull=True)
                | Q(cupping__isnull=False, sent_at__isnull=False),
                name="plan_sent_has_cupping",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class PlanCoffee(models.Model):
    """A coffee that may be in the blends of a plan, and its limits."""

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="coffees")
    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="+")
    order = models.PositiveSmallIntegerField()
    low_ppm = models.PositiveIntegerField(default=0)
    high_ppm = models.PositiveIntegerField(default=PPM)

    class Meta:
        ordering = ["plan", "order"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "approach"], name="plan_coffee_once"),
            models.UniqueConstraint(fields=["plan", "order"], name="plan_coffee_order"),
            models.CheckConstraint(
                condition=Q(high_ppm__lte=PPM, low_ppm__lte=F("high_ppm")),
                name="plan_coffee_limits_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.approach} in {self.plan}"


class PlanGroup(models.Model):
    """A limit on several coffees together, named by what they share: ``process:washed``."""

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="groups")
    rule = models.CharField("which coffees", max_length=80)
    low_ppm = models.PositiveIntegerField(null=True, blank=True)
    high_ppm = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["plan", "id"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "rule"], name="plan_group_once"),
            models.CheckConstraint(
                condition=(Q(low_ppm__isnull=False) | Q(high_ppm__isnull=False))
                & (Q(low_ppm__isnull=True) | Q(low_ppm__lte=PPM))
                & (Q(high_ppm__isnull=True) | Q(high_ppm__lte=PPM))
                & (
                    Q(low_ppm__isnull=True)
                    | Q(high_ppm__isnull=True)
                    | Q(low_ppm__lte=F("high_ppm"))
                ),
                name="plan_group_limits_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rule} in {self.plan}"


class Trial(models.Model):
    """One blend of a plan. Two trials of equal shares are one blend under two codes.

    ``sealed`` means that its shares add up to 100 %; the database keeps to that (see ``apps.py``).
    """

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="trials")
    number = models.PositiveSmallIntegerField()
    sample = models.ForeignKey(
        Sample, null=True, blank=True, on_delete=models.PROTECT, related_name="trials"
    )
    sealed = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ["plan", "number"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "number"], name="trial_number_once"),
            models.CheckConstraint(
                condition=Q(number__range=(1, MOST_SAMPLES)), name="trial_number_range"
            ),
        ]

    def __str__(self) -> str:
        return f"sample {self.number} of {self.plan}"


class TrialShare(models.Model):
    """The share of one coffee in a trial, in parts per million of the roasted mass."""

    trial = models.ForeignKey(Trial, on_delete=models.CASCADE, related_name="shares")
    coffee = models.ForeignKey(PlanCoffee, on_delete=models.CASCADE, related_name="+")
    share_ppm = models.PositiveIntegerField()

    class Meta:
        ordering = ["trial", "coffee__order"]
        constraints = [
            models.UniqueConstraint(fields=["trial", "coffee"], name="trial_share_once"),
            models.CheckConstraint(
                condition=Q(share_ppm__gt=0, share_ppm__lte=PPM), name="trial_share_range"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.share_ppm / 10_000:g} % in {self.trial}"
