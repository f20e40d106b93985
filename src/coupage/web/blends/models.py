"""Briefs, blends and their dated recipes."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from coupage.units import PPM
from coupage.web.coffees.models import Approach
from coupage.web.cuppings.models import Attribute, Sample

__all__ = ["Blend", "Brief", "Recipe", "RecipeSample", "RecipeShare", "Service", "Want"]

_SCALE = [MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(10))]


class Service(models.TextChoices):
    BLACK_ESPRESSO = "espresso", "black espresso"
    MILK = "milk", "with milk"
    CHOCOLATE = "chocolate", "with chocolate"
    FILTER = "filter", "filter"


class Brief(models.Model):
    """What a blend must taste like, and what it may cost."""

    name = models.CharField(max_length=80, unique=True)
    service = models.CharField("served", max_length=10, choices=Service.choices)
    cost_cap = models.DecimalField(
        "cost cap per roasted kg",
        max_digits=10,
        decimal_places=4,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal("0.01"))],
    )
    max_components = models.PositiveSmallIntegerField(
        "most coffees in the blend",
        default=4,
        validators=[MinValueValidator(1), MaxValueValidator(6)],
    )
    min_share_ppm = models.PositiveIntegerField("least share of a coffee", default=50_000)
    note = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="brief_has_name"),
            models.CheckConstraint(
                condition=Q(service__in=Service.values), name="brief_service_known"
            ),
            models.CheckConstraint(
                condition=Q(cost_cap__isnull=True) | Q(cost_cap__gt=0),
                name="brief_cost_cap_positive",
            ),
            models.CheckConstraint(
                condition=Q(max_components__range=(1, 6)), name="brief_components_range"
            ),
            models.CheckConstraint(
                condition=Q(min_share_ppm__gte=0, min_share_ppm__lte=PPM // 2),
                name="brief_min_share_range",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Want(models.Model):
    """A wanted range of one attribute."""

    class Kind(models.TextChoices):
        AT_LEAST = "at least", "at least"
        AT_MOST = "at most", "at most"
        BETWEEN = "between", "between"
        CLOSE_TO = "close to", "close to"

    brief = models.ForeignKey(Brief, on_delete=models.CASCADE, related_name="wants")
    attribute = models.ForeignKey(Attribute, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    low = models.DecimalField(
        max_digits=4, decimal_places=2, null=True, blank=True, validators=_SCALE
    )
    high = models.DecimalField(
        max_digits=4, decimal_places=2, null=True, blank=True, validators=_SCALE
    )
    importance = models.DecimalField(
        max_digits=3,
        decimal_places=1,
        default=Decimal(1),
        validators=[MinValueValidator(Decimal("0.1")), MaxValueValidator(Decimal(10))],
    )
    must = models.BooleanField("must-have", default=False)

    class Meta:
        ordering = ["brief", "attribute__order", "id"]
        constraints = [
            models.UniqueConstraint(fields=["brief", "attribute", "kind"], name="want_once"),
            models.CheckConstraint(
                condition=(Q(low__isnull=True) | Q(low__gte=0, low__lte=10))
                & (Q(high__isnull=True) | Q(high__gte=0, high__lte=10)),
                name="want_on_scale",
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(high__gt=F("low")),
                name="want_range_in_order",
            ),
            models.CheckConstraint(
                condition=Q(kind="at least", low__isnull=False)
                | Q(kind="at most", high__isnull=False)
                | Q(kind__in=["between", "close to"], low__isnull=False, high__isnull=False),
                name="want_has_its_ends",
            ),
            models.CheckConstraint(
                condition=Q(importance__gt=0, importance__lte=10), name="want_importance_range"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.attribute} {self.kind}"


class Blend(models.Model):
    """A named product. What is in it is said by its recipes."""

    name = models.CharField(max_length=80, unique=True)
    brief = models.ForeignKey(
        Brief, null=True, blank=True, on_delete=models.PROTECT, related_name="blends"
    )
    note = models.TextField(blank=True)
    archived = models.BooleanField(default=False)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="blend_has_name")]

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
