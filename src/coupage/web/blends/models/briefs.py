"""Briefs: what a blend must taste like, what it may cost, and what it must be made of."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from coupage.units import PPM
from coupage.web.cuppings.models import Attribute

__all__ = ["Brief", "BriefLimit", "Lasting", "Service", "Want"]

_SCALE = [MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(10))]
MOST_WEEKS = 104


class Service(models.TextChoices):
    BLACK_ESPRESSO = "espresso", "black espresso"
    MILK = "milk", "with milk"
    CHOCOLATE = "chocolate", "with chocolate"
    FILTER = "filter", "filter"


class Lasting(models.TextChoices):
    ONE = "one", "at least one coffee must last"
    EVERY = "every", "every coffee must last"


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
    lasting = models.CharField(
        "green on hand", max_length=5, choices=Lasting.choices, blank=True, default=""
    )
    lasting_weeks = models.PositiveSmallIntegerField(
        "lasts for weeks",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(MOST_WEEKS)],
    )
    note = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="brief_has_name"),
            models.CheckConstraint(
                condition=Q(lasting="", lasting_weeks__isnull=True)
                | Q(lasting__in=["one", "every"], lasting_weeks__range=(1, MOST_WEEKS)),
                name="brief_lasting_with_weeks",
            ),
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


class BriefLimit(models.Model):
    """A share that coffees of one kind must keep, such as what the bag promises."""

    class Kind(models.TextChoices):
        SPECIES = "species", "species"
        PROCESS = "process", "process"
        ORIGIN = "origin", "country of origin"

    brief = models.ForeignKey(Brief, on_delete=models.CASCADE, related_name="limits")
    kind = models.CharField(max_length=7, choices=Kind.choices)
    value = models.CharField(max_length=60)
    low_ppm = models.PositiveIntegerField("at least", default=0)
    high_ppm = models.PositiveIntegerField("at most", default=PPM)

    class Meta:
        ordering = ["brief", "kind", "value"]
        constraints = [
            models.UniqueConstraint(fields=["brief", "kind", "value"], name="brief_limit_once"),
            models.CheckConstraint(
                condition=Q(kind__in=["species", "process", "origin"]) & ~Q(value=""),
                name="brief_limit_of_something",
            ),
            models.CheckConstraint(
                condition=Q(low_ppm__lte=F("high_ppm"), high_ppm__lte=PPM),
                name="brief_limit_in_order",
            ),
            models.CheckConstraint(
                condition=Q(low_ppm__gt=0) | Q(high_ppm__lt=PPM), name="brief_limit_limits"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.value}"
