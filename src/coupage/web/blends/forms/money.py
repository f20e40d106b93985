"""Prices, exchange rates and the house's own costs, each from a date on."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from coupage.web.blends.models import ExchangeRate, GreenPrice, HouseCosts
from coupage.web.coffees.models import Lot
from coupage.web.common.fields import NumberField, PercentField
from coupage.web.common.modelforms import ModelForm

__all__ = ["GreenPriceForm", "HouseCostsForm", "RateForm"]


def _day() -> forms.DateField:
    return forms.DateField(
        label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )


class _Dated(forms.Form):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["on"].initial = timezone.localdate()


def _letters(form: forms.BaseForm) -> str:
    return str(form.cleaned_data["currency"]).strip().upper()


class RateForm(_Dated, ModelForm[ExchangeRate]):
    """What one unit of another currency costs."""

    prefix = "rate"
    currency = forms.CharField(max_length=3, help_text="Three letters, like USD.")
    rate = NumberField(label="One costs", above=0, high=1_000_000, places=8)
    on = _day()

    class Meta:
        model = ExchangeRate
        fields = ["currency", "rate", "on"]

    def __init__(self, *args: Any, own: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.own = own
        self.fields["rate"].unit = own  # type: ignore[attr-defined]

    def clean_currency(self) -> str:
        letters = _letters(self)
        if letters == self.own:
            raise forms.ValidationError(f"{letters} is the roastery's own; one costs one.")
        return letters


class GreenPriceForm(_Dated, ModelForm[GreenPrice]):
    """What the green of a lot costs."""

    prefix = "green"
    price = NumberField(label="Price of a green kg", low=0, high=100_000, places=4)
    currency = forms.CharField(max_length=3, help_text="Three letters, like USD.")
    freight = NumberField(label="Freight of a green kg", low=0, high=100_000, places=4, initial=0)
    duty_ppm = PercentField(label="Duty", high=100, initial=0, help_text="On price and freight.")
    on = _day()

    class Meta:
        model = GreenPrice
        fields = ["lot", "price", "currency", "freight", "duty_ppm", "on", "note"]

    def __init__(self, *args: Any, own: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["lot"].queryset = Lot.objects.filter(archived=False)  # type: ignore[attr-defined]
        self.fields["currency"].initial = own
        self.fields["freight"].unit = own  # type: ignore[attr-defined]

    def clean_currency(self) -> str:
        return _letters(self)


class HouseCostsForm(_Dated, ModelForm[HouseCosts]):
    """What a roasted kilogram costs beside its coffee."""

    prefix = "house"
    roasting = NumberField(label="Roasting", low=0, high=1000, places=4)
    labour = NumberField(label="Labour", low=0, high=1000, places=4)
    packaging = NumberField(label="Packaging", low=0, high=1000, places=4)
    overhead = NumberField(label="Overhead", low=0, high=1000, places=4)
    margin_ppm = PercentField(
        label="Margin", high=99, required=False, help_text="Share of the selling price."
    )
    on = _day()

    class Meta:
        model = HouseCosts
        fields = ["roasting", "labour", "packaging", "overhead", "margin_ppm", "on"]

    def __init__(self, *args: Any, own: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        newest = HouseCosts.objects.first()
        for name in ("roasting", "labour", "packaging", "overhead"):
            self.fields[name].unit = f"{own}/kg"  # type: ignore[attr-defined]
            self.fields[name].initial = getattr(newest, name) if newest else 0
        self.fields["margin_ppm"].initial = newest.margin_ppm if newest else None
