"""Customers, what they ordered, what they order every week, and what they are expected to order."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from coupage.web.blends.models import Blend

__all__ = ["Customer", "Expectation", "Order", "OrderLine", "StandingLine", "StandingOrder"]

_BAG = [MinValueValidator(10), MaxValueValidator(1_000_000)]
_COUNT = [MinValueValidator(1), MaxValueValidator(10_000)]


class Customer(models.Model):
    """A café, a shop or a person who gets coffee; the roastery's own cafés too."""

    name = models.CharField(max_length=80, unique=True)
    address = models.TextField("address or note on delivery", blank=True)
    note = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="customer_has_name")]

    def __str__(self) -> str:
        return self.name


class StandingOrder(models.Model):
    """What a customer orders again and again, on one day of the week."""

    class Weekday(models.IntegerChoices):
        MONDAY = 0, "Monday"
        TUESDAY = 1, "Tuesday"
        WEDNESDAY = 2, "Wednesday"
        THURSDAY = 3, "Thursday"
        FRIDAY = 4, "Friday"
        SATURDAY = 5, "Saturday"
        SUNDAY = 6, "Sunday"

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="standing")
    weekday = models.PositiveSmallIntegerField("day of the week", choices=Weekday.choices)
    every_weeks = models.PositiveSmallIntegerField(
        "every so many weeks",
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(13)],
    )
    since = models.DateField("from")
    until = models.DateField("until", null=True, blank=True)
    note = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["weekday", "customer__name", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(weekday__range=(0, 6)), name="standing_weekday"),
            models.CheckConstraint(
                condition=Q(every_weeks__range=(1, 13)), name="standing_every_weeks"
            ),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("since")),
                name="standing_until_after_since",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.customer}, every {self.get_weekday_display()}"


class Order(models.Model):
    """What one customer gets on one day."""

    class State(models.TextChoices):
        OPEN = "open", "open"
        PACKED = "packed", "packed"
        SENT = "sent", "sent"
        CALLED_OFF = "called off", "called off"

    number = models.CharField(max_length=20, unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="orders")
    due_on = models.DateField("due on")
    due_time = models.TimeField("roasted by", null=True, blank=True)
    state = models.CharField(
        max_length=10, choices=State.choices, default=State.OPEN, editable=False
    )
    standing = models.ForeignKey(
        StandingOrder,
        null=True,
        blank=True,
        editable=False,
        on_delete=models.PROTECT,
        related_name="orders",
    )
    note = models.TextField(blank=True)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["due_on", "due_time", "id"]
        indexes = [models.Index(fields=["state", "due_on"])]
        constraints = [
            models.CheckConstraint(condition=~Q(number=""), name="order_has_number"),
            models.CheckConstraint(
                condition=Q(state__in=["open", "packed", "sent", "called off"]),
                name="order_state_known",
            ),
            # Whoever writes the standing orders down twice gets one order for the day.
            models.UniqueConstraint(fields=["standing", "due_on"], name="order_standing_once"),
        ]

    def __str__(self) -> str:
        return f"Order {self.number}"


class _Line(models.Model):
    blend = models.ForeignKey(Blend, on_delete=models.PROTECT, related_name="+")
    bag_g = models.PositiveBigIntegerField("bag", validators=_BAG)
    bags = models.PositiveIntegerField("how many", validators=_COUNT)

    class Meta:
        abstract = True

    @property
    def mass_g(self) -> int:
        """Roasted coffee in the line."""
        return self.bag_g * self.bags

    def __str__(self) -> str:
        return f"{self.bags} × {self.bag_g} g {self.blend}"


class OrderLine(_Line):
    """Bags of one size of one blend in an order."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")

    class Meta:
        ordering = ["order", "id"]
        constraints = [
            models.UniqueConstraint(fields=["order", "blend", "bag_g"], name="order_line_once"),
            models.CheckConstraint(
                condition=Q(bag_g__range=(10, 1_000_000), bags__range=(1, 10_000)),
                name="order_line_range",
            ),
        ]


class StandingLine(_Line):
    """Bags of one size of one blend in a standing order."""

    standing = models.ForeignKey(StandingOrder, on_delete=models.CASCADE, related_name="lines")

    class Meta:
        ordering = ["standing", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["standing", "blend", "bag_g"], name="standing_line_once"
            ),
            models.CheckConstraint(
                condition=Q(bag_g__range=(10, 1_000_000), bags__range=(1, 10_000)),
                name="standing_line_range",
            ),
        ]


class Expectation(models.Model):
    """The roaster's own number for a blend and a week; it stands above any forecast.

    That a week is named by its Monday is kept by the action: a constraint would need a function
    that a plain SQLite, such as the one that checks a backup, does not have.
    """

    blend = models.ForeignKey(Blend, on_delete=models.PROTECT, related_name="expectations")
    week = models.DateField("Monday of the week")
    mass_g = models.PositiveBigIntegerField("roasted")
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["week", "blend__name"]
        constraints = [
            models.UniqueConstraint(fields=["blend", "week"], name="expectation_once"),
        ]

    def __str__(self) -> str:
        return f"{self.mass_g / Decimal(1000):g} kg of {self.blend} in the week of {self.week}"
