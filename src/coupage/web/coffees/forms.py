"""Forms about lots; masses come in the person's unit and leave as grams."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from coupage.web.coffees.models import ApproachVersion, Lot, StockEntry
from coupage.web.common.fields import ClockField, MassField, NumberField
from coupage.web.common.modelforms import ModelForm

__all__ = ["ApproachForm", "LotForm", "NewLotForm", "StockForm", "VersionForm"]


def _date_field(**kwargs: Any) -> forms.DateField:
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(widget=widget, **kwargs)


class LotForm(ModelForm[Lot]):
    """One delivery of green coffee."""

    moisture_pct = NumberField(
        label="Moisture",
        unit="%",
        low=2,
        high=30,
        places=1,
        required=False,
        help_text="Usual: 10 to 12 % (SCA 2018); export target: 8 to 12.5 % (ICO Resolution 420).",
    )
    price_per_kg = NumberField(
        label="Landed price",
        low=0,
        places=4,
        required=False,
        help_text="Per kg of green coffee, freight and duty included.",
    )
    bag_g = MassField(
        label="One bag", above=0, high=2000, required=False, help_text="Often 60, 69 or 70 kg."
    )

    class Meta:
        model = Lot
        fields = [
            "name",
            "origin",
            "region",
            "producer",
            "process",
            "species",
            "decaffeinated",
            "crop_year",
            "moisture_pct",
            "price_per_kg",
            "bag_g",
            "note",
        ]
        help_texts = {
            "name": "How you speak of it in the roastery; each name once.",
            "crop_year": "Like 2025 or 2025/26.",
        }
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}
        error_messages = {
            "name": {"unique": "Another lot has this name; each name is given once."},
        }

    def __init__(self, *args: Any, unit: str, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _in_unit(self.fields["bag_g"], unit)
        self.fields["price_per_kg"].unit = f"{currency}/kg"  # type: ignore[attr-defined]


class NewLotForm(LotForm):
    """A new lot, with what has arrived of it."""

    received_g = MassField(
        label="Received so far",
        low=0,
        required=False,
        help_text="Leave empty when it has not arrived yet.",
    )
    on = _date_field(label="Received on", required=False)

    def __init__(self, *args: Any, unit: str, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, unit=unit, currency=currency, **kwargs)
        _in_unit(self.fields["received_g"], unit)
        self.fields["on"].initial = timezone.localdate()


class StockForm(forms.Form):
    """One line of the ledger. What leaves is typed with a minus, or as a count of what is there."""

    kind = forms.ChoiceField(label="What happened", choices=StockEntry.Kind.choices)
    mass_g = MassField(
        label="How much",
        required=False,
        help_text="With a minus where stock shrinks: -1.5 for lost moisture.",
    )
    bags = NumberField(
        label="Or in bags: how many",
        low=1,
        high=10_000,
        places=0,
        required=False,
        help_text="For a receipt; often 60, 69 or 70 kg a bag.",
    )
    bag_g = MassField(label="One bag", above=0, high=2000, required=False)
    on = _date_field(label="Date")
    reason = forms.CharField(
        required=False, max_length=200, help_text="Needed for corrections; helpful always."
    )

    def __init__(self, *args: Any, unit: str, lot: Lot | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _in_unit(self.fields["mass_g"], unit)
        _in_unit(self.fields["bag_g"], unit)
        self.fields["bag_g"].initial = lot.bag_g if lot else None
        self.fields["on"].initial = timezone.localdate()

    def clean(self) -> None:
        super().clean()
        self._weigh_bags()
        kind, mass = self.cleaned_data.get("kind"), self.cleaned_data.get("mass_g")
        if mass is None and not self.errors:
            self.add_error("mass_g", "Say how much, as a mass or in bags.")
        elif mass == 0:
            self.add_error("mass_g", "Nothing changes by 0; leave the page, or type an amount.")
        elif mass is not None and kind == StockEntry.Kind.RECEIPT and mass < 0:
            self.add_error("mass_g", "A receipt adds stock; leave the minus away.")
        elif mass is not None and kind == StockEntry.Kind.SOLD and mass > 0:
            # People type what left as a plain amount; there is only one way to mean it.
            self.cleaned_data["mass_g"] = -mass
        if kind in {StockEntry.Kind.COUNT, StockEntry.Kind.MOISTURE} and not self.cleaned_data.get(
            "reason"
        ):
            self.add_error("reason", "Say why the stock is corrected.")

    def _weigh_bags(self) -> None:
        """Turn bags into their mass; the mass alone leaves bags out."""
        values = self.cleaned_data
        bags, bag_g, mass = values.get("bags"), values.get("bag_g"), values.get("mass_g")
        if bags is None:
            values["bag_g"] = None
            return
        values["bags"] = int(bags)
        if values.get("kind") != StockEntry.Kind.RECEIPT:
            self.add_error("bags", "Only a receipt comes in bags; give a mass instead.")
        elif not bag_g:
            self.add_error("bag_g", "Say what one bag weighs.")
        elif mass is not None and mass != int(bags) * bag_g:
            self.add_error("mass_g", "This is not what the bags weigh; leave one of the two empty.")
        else:
            values["mass_g"] = int(bags) * bag_g


class VersionForm(ModelForm[ApproachVersion]):
    """Targets of an approach, each with what counts as on target."""

    since = _date_field(label="From")
    charge_g = MassField(label="Charge", above=0, required=False)
    loss_pct = NumberField(label="Loss", unit="%", low=0, high=59.9, places=1, required=False)
    loss_tolerance_pct = NumberField(
        label="Loss, within", unit="points", above=0, high=10, places=1
    )
    colour = NumberField(label="Colour", places=1, required=False)
    colour_tolerance = NumberField(label="Colour, within", unit="units", above=0, places=1)
    seconds = ClockField(label="Roast time", required=False)
    seconds_tolerance = NumberField(label="Roast time, within", unit="s", above=0, places=0)
    end_temperature_c = NumberField(
        label="End temperature", unit="°C", low=100, high=300, places=1, required=False
    )
    end_temperature_tolerance_c = NumberField(
        label="End temperature, within", unit="°C", above=0, places=1
    )

    class Meta:
        model = ApproachVersion
        fields = [
            "since",
            "charge_g",
            "loss_pct",
            "loss_tolerance_pct",
            "colour_scale",
            "colour",
            "colour_tolerance",
            "seconds",
            "seconds_tolerance",
            "end_temperature_c",
            "end_temperature_tolerance_c",
            "note",
        ]
        help_texts = {"colour_scale": "The name you use for your instrument's scale."}
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _in_unit(self.fields["charge_g"], unit)
        if not self.instance.pk and not self.initial.get("since"):
            self.initial["since"] = timezone.localdate()

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if self.cleaned_data.get("colour") is not None and not self.cleaned_data.get(
            "colour_scale"
        ):
            self.add_error("colour_scale", "Name the scale, or the number says nothing.")
        return cleaned


class ApproachForm(VersionForm):
    """A new way of roasting a lot, with its first targets."""

    name = forms.CharField(
        label="Name of the approach", max_length=40, help_text="Like: lighter, for espresso."
    )
    field_order = ("name",)

    def __init__(self, *args: Any, lot: Lot, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, unit=unit, **kwargs)
        self.lot = lot

    def clean_name(self) -> str:
        name = str(self.cleaned_data["name"]).strip()
        if self.lot.approaches.filter(name=name).exists():
            raise ValidationError(f"{self.lot.name} has an approach of this name already.")
        return name


def _in_unit(field: forms.Field, unit: str) -> None:
    """Take and show a mass in the person's unit, named beside the box."""
    field.unit = unit  # type: ignore[attr-defined]
