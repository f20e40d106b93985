"""What coffee costs: prices of green as agreed, exchange rates, and the house's own costs.

All three are only ever added to; the newest date that has come counts.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.core.validators import MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q

from coupage.units import PPM
from coupage.web.coffees.models import Lot

__all__ = ["ExchangeRate", "GreenPrice", "HouseCosts"]

_CURRENCY = RegexValidator(r"^[A-Z]{3}$", "Use the three letters of ISO 4217, like USD.")
_NOT_NEGATIVE = [MinValueValidator(Decimal(0))]


def _money(label: str, default: Decimal | None = Decimal(0)) -> Any:
    more: dict[str, Any] = {} if default is None else {"default": default}
    return models.DecimalField(
        label, max_digits=10, decimal_places=4, validators=_NOT_NEGATIVE, **more
    )


class ExchangeRate(models.Model):
    """What one unit of another currency costs in the roastery's, from a date on."""

    currency = models.CharField(max_length=3, validators=[_CURRENCY])
    rate = models.DecimalField(
        max_digits=14, decimal_places=8, validators=[MinValueValidator(Decimal("0.00000001"))]
    )
    on = models.DateField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["currency", "-on", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(rate__gt=0), name="exchange_rate_positive"),
            models.CheckConstraint(condition=~Q(currency=""), name="exchange_rate_of_a_currency"),
        ]

    def __str__(self) -> str:
        return f"1 {self.currency} = {self.rate:f}"


class GreenPrice(models.Model):
    """What a kilogram of a lot costs from a date on: price, freight, duty."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="prices")
    price = _money("price of a green kg", default=None)
    currency = models.CharField(max_length=3, validators=[_CURRENCY])
    freight = _money("freight of a green kg")
    duty_ppm = models.PositiveIntegerField("duty", default=0)
    on = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["lot", "-on", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(price__gte=0, freight__gte=0), name="green_price_not_negative"
            ),
            models.CheckConstraint(condition=~Q(currency=""), name="green_price_in_a_currency"),
            models.CheckConstraint(condition=Q(duty_ppm__lte=PPM), name="green_price_duty_range"),
        ]

    def __str__(self) -> str:
        return f"{self.lot}: {self.price:f} {self.currency} from {self.on}"


class HouseCosts(models.Model):
    """What a roasted kilogram costs beside its coffee, and the margin, from a date on."""

    on = models.DateField()
    roasting = _money("roasting")
    labour = _money("labour")
    packaging = _money("packaging")
    overhead = _money("overhead")
    margin_ppm = models.PositiveIntegerField("margin", null=True, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-on", "-id"]
        verbose_name_plural = "house costs"
        constraints = [
            models.CheckConstraint(
                condition=Q(roasting__gte=0, labour__gte=0, packaging__gte=0, overhead__gte=0),
                name="house_costs_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(margin_ppm__isnull=True) | Q(margin_ppm__lt=PPM),
                name="house_margin_below_the_price",
            ),
        ]

    def __str__(self) -> str:
        return f"costs from {self.on}"
