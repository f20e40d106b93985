"""Blends, their dated recipes, what the counter is told, and what the bag promises."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from coupage.units import PPM
from coupage.web.blends.models.briefs import Brief
from coupage.web.coffees.models import Approach
from coupage.web.cuppings.models import Attribute, Sample

__all__ = ["Blend", "CafeCard", "PromiseWord", "Recipe", "RecipeSample", "RecipeShare"]

_SCALE = [MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(10))]


class Blend(models.Model):
    """A named product. What is in it is said by its recipes."""

    name = models.CharField(max_length=80, unique=True)
    brief = models.ForeignKey(
        Brief, null=True, blank=True, on_delete=models.PROTECT, related_name="blends"
    )
    weekly_g = models.PositiveBigIntegerField("sold in a week", null=True, blank=True)
    note = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="blend_has_name"),
            models.CheckConstraint(
                condition=Q(weekly_g__isnull=True) | Q(weekly_g__gt=0), name="blend_weekly_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Recipe(models.Model):
    """A dated version of a blend's proportions, with a life of its own.

    ``sealed`` means that its shares add up to 100 %; the database keeps to that (see ``apps.py``).
    Only a trial can be opened for editing; from approval on a recipe stays what it was.
    """

    class State(models.TextChoices):
        TRIAL = "trial", "trial"
        APPROVED = "approved", "approved"
        IN_SERVICE = "in service", "in service"
        RETIRED = "retired", "retired"

    blend = models.ForeignKey(Blend, on_delete=models.PROTECT, related_name="recipes")
    version = models.PositiveIntegerField()
    state = models.CharField(
        max_length=10, choices=State.choices, default=State.TRIAL, editable=False
    )
    reason = models.TextField("why this recipe", blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    approved_at = models.DateTimeField(null=True, blank=True)
    in_service_from = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    sealed = models.BooleanField(default=False, editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["blend", "-version"]
        constraints = [
            models.UniqueConstraint(fields=["blend", "version"], name="recipe_version_once"),
            models.UniqueConstraint(
                fields=["blend"],
                condition=Q(state="in service"),
                name="recipe_one_in_service",
                violation_error_message="This blend has a recipe in service; retire that first.",
            ),
            models.CheckConstraint(
                condition=Q(sealed=True) | Q(state="trial"), name="recipe_sealed_past_trial"
            ),
            models.CheckConstraint(
                condition=Q(state="trial")
                | Q(approved_by__isnull=False, approved_at__isnull=False),
                name="recipe_approved_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(state="in service") | Q(in_service_from__isnull=False),
                name="recipe_in_service_dated",
            ),
            models.CheckConstraint(
                condition=Q(in_service_from__isnull=True)
                | Q(retired_on__isnull=True)
                | Q(retired_on__gte=F("in_service_from")),
                name="recipe_retired_after_service",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.blend}, version {self.version}"


class RecipeShare(models.Model):
    """The share of one component in a recipe, in parts per million of the roasted mass."""

    recipe = models.ForeignKey(Recipe, on_delete=models.CASCADE, related_name="shares")
    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="shares")
    share_ppm = models.PositiveIntegerField()

    class Meta:
        ordering = ["recipe", "-share_ppm", "id"]
        constraints = [
            models.UniqueConstraint(fields=["recipe", "approach"], name="recipe_share_once"),
            models.CheckConstraint(
                condition=Q(share_ppm__gt=0, share_ppm__lte=PPM), name="recipe_share_range"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.share_ppm / 10_000:g} % {self.approach}"


class RecipeSample(models.Model):
    """A sample that was made to a recipe, so that its cuppings count as the recipe's own."""

    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="samples")
    sample = models.OneToOneField(Sample, on_delete=models.CASCADE, related_name="made_to")

    def __str__(self) -> str:
        return f"{self.sample} made to {self.recipe}"


class CafeCard(models.Model):
    """How a recipe is brewed at the counter."""

    recipe = models.OneToOneField(Recipe, on_delete=models.CASCADE, related_name="card")
    dose_mg = models.PositiveIntegerField("dose")
    drink_mg = models.PositiveIntegerField("in the cup")
    seconds = models.PositiveSmallIntegerField("time")
    temperature_c = models.DecimalField(
        "water", max_digits=4, decimal_places=1, null=True, blank=True
    )
    milk = models.TextField("with milk", blank=True)
    note = models.TextField("say at the counter", blank=True)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(dose_mg__gt=0, drink_mg__gt=0, seconds__gt=0),
                name="cafe_card_positive",
            ),
            models.CheckConstraint(
                condition=Q(temperature_c__isnull=True) | Q(temperature_c__range=(20, 100)),
                name="cafe_card_water_range",
            ),
        ]

    def __str__(self) -> str:
        return f"Card of {self.recipe}"


class PromiseWord(models.Model):
    """A word on the bag, and what a table must believe for it to be true."""

    blend = models.ForeignKey(Blend, on_delete=models.CASCADE, related_name="promises")
    text = models.CharField("on the bag", max_length=60)
    attribute = models.ForeignKey(Attribute, on_delete=models.PROTECT, related_name="+")
    low = models.DecimalField(
        "at least", max_digits=4, decimal_places=2, null=True, blank=True, validators=_SCALE
    )
    high = models.DecimalField(
        "at most", max_digits=4, decimal_places=2, null=True, blank=True, validators=_SCALE
    )

    class Meta:
        ordering = ["blend", "id"]
        constraints = [
            models.UniqueConstraint(fields=["blend", "text"], name="promise_once"),
            models.CheckConstraint(condition=~Q(text=""), name="promise_says_something"),
            models.CheckConstraint(
                condition=(Q(low__isnull=False) | Q(high__isnull=False))
                & (Q(low__isnull=True) | Q(low__gte=0, low__lte=10))
                & (Q(high__isnull=True) | Q(high__gte=0, high__lte=10)),
                name="promise_on_scale",
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(high__gt=F("low")),
                name="promise_range_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.text
