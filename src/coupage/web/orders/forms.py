"""Forms about customers and orders; bags are typed in grams, counts as whole numbers."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from coupage.web.blends.models import Blend
from coupage.web.common.fields import MassField, NumberField
from coupage.web.common.modelforms import ModelChoiceField, ModelForm
from coupage.web.orders import queries
from coupage.web.orders.actions import Wanted
from coupage.web.orders.models import Customer, Order, StandingOrder

__all__ = [
    "BuyingForm",
    "CustomerForm",
    "ExpectForm",
    "LineFormSet",
    "OrderForm",
    "StandingForm",
    "line_forms",
]


def _date_field(**kwargs: Any) -> forms.DateField:
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(widget=widget, **kwargs)


class CustomerForm(ModelForm[Customer]):
    """Somebody who gets coffee."""

    class Meta:
        model = Customer
        fields = ["name", "address", "note"]
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "note": forms.Textarea(attrs={"rows": 2}),
        }
        help_texts = {"name": "Each name once; your own cafés are customers too."}
        error_messages = {"name": {"unique": "Another customer has this name."}}


class _CustomerChoice(ModelForm[Any]):
    """A form that offers customers in use, and the one it names already."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = queries.customers() | Customer.objects.filter(pk=self.instance.customer_id or 0)
        field = self.fields["customer"]
        field.queryset, field.empty_label = offered.distinct(), "choose"  # type: ignore[attr-defined]


class OrderForm(_CustomerChoice):
    """Who gets coffee and when; what they get are forms of their own."""

    number = forms.CharField(
        max_length=20,
        required=False,
        help_text="Leave empty for the next number. Each number once.",
    )
    due_on = _date_field(label="Due on")
    due_time = forms.TimeField(
        label="Roasted by",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="Only where it must leave within the day.",
    )

    class Meta:
        model = Order
        fields = ["customer", "due_on", "due_time", "number", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}
        error_messages = {"number": {"unique": "Another order has this number."}}


class StandingForm(_CustomerChoice):
    """What comes again every week."""

    every_weeks = NumberField(
        label="Every", unit="weeks", low=1, high=13, places=0, help_text="1 means every week."
    )
    since = _date_field(label="From")
    until = _date_field(label="Until", required=False, help_text="Empty: until further notice.")

    class Meta:
        model = StandingOrder
        fields = ["customer", "weekday", "every_weeks", "since", "until", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.instance.pk:
            self.initial["since"] = timezone.localdate()

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        since, until = self.cleaned_data.get("since"), self.cleaned_data.get("until")
        if since and until and until < since:
            self.add_error("until", "This is before it begins; check both dates.")
        return cleaned


class LineForm(forms.Form):
    """Bags of one size of one blend."""

    blend = ModelChoiceField[Blend](
        queryset=Blend.objects.none(), required=False, label="Blend", empty_label="no blend"
    )
    bag_g = MassField(label="Bag", unit="g", low=10, high=1_000_000, required=False)
    bags = NumberField(label="How many", low=1, high=10_000, places=0, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kept = self.initial.get("blend")
        offered = Blend.objects.filter(archived=False) | Blend.objects.filter(
            pk=getattr(kept, "pk", kept) or 0
        )
        self.fields["blend"].queryset = offered.distinct()  # type: ignore[attr-defined]

    def clean(self) -> None:
        super().clean()
        blend, values = self.cleaned_data.get("blend"), self.cleaned_data
        if blend is None:
            if values.get("bag_g") or values.get("bags"):
                self.add_error("blend", "Choose the blend that is wanted; or empty the row.")
            return
        for name, says in (
            ("bag_g", "Say how much goes into one bag."),
            ("bags", "Say how many bags."),
        ):
            if not values.get(name) and name not in self.errors:
                self.add_error(name, says)

    def line(self) -> Wanted | None:
        """Return the line that was typed, or None."""
        values = self.cleaned_data
        if values.get("blend") is None:
            return None
        return values["blend"], values["bag_g"], int(values["bags"])


class LineFormSet(forms.BaseFormSet):  # type: ignore[type-arg]
    """The lines of an order: each blend and bag size once."""

    def clean(self) -> None:
        if any(self.errors):
            return
        lines = self.lines()
        if not lines:
            raise ValidationError("Say what is wanted: a blend, the size of a bag, how many.")
        kinds = [(blend, bag_g) for blend, bag_g, _ in lines]
        twice = {
            f"{blend} in bags of {bag_g} g"
            for blend, bag_g in kinds
            if kinds.count((blend, bag_g)) > 1
        }
        if twice:
            raise ValidationError(f"{', '.join(sorted(twice))} stands here twice; add it up.")

    def lines(self) -> list[Wanted]:
        """Return the lines that were typed."""
        return [line for form in self.forms if (line := form.line()) is not None]


_LineFormSet = forms.formset_factory(
    LineForm, formset=LineFormSet, extra=2, max_num=60, absolute_max=120
)


def line_forms(of: Order | StandingOrder | None, data: Any = None) -> LineFormSet:
    """Return the rows of blends and bags, filled from an order."""
    if data is not None:
        return cast(LineFormSet, _LineFormSet(data, prefix="lines"))
    lines = of.lines.select_related("blend") if of is not None and of.pk else ()
    initial = [{"blend": x.blend, "bag_g": x.bag_g, "bags": x.bags} for x in lines]
    return cast(LineFormSet, _LineFormSet(initial=initial, prefix="lines"))


class ExpectForm(forms.Form):
    """The roaster's own number for a week; empty goes back to the forecast."""

    week = forms.DateField(widget=forms.HiddenInput)
    mass_g = MassField(label="Your number", low=0, high=100_000, required=False)

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["mass_g"].unit = unit  # type: ignore[attr-defined]


class BuyingForm(forms.Form):
    """What buying green takes here; in the address, so that a page can be kept and sent on."""

    lead = NumberField(
        label="From order to arrival", unit="weeks", low=0, high=40, places=0, initial=6
    )
    order_cost = NumberField(label="One order costs", low=0, high=100_000, places=2, initial=60)
    holding = NumberField(
        label="Money tied up costs", unit="% a year", low=0, high=60, places=1, initial=8
    )
    safety = NumberField(
        label="Always keep", unit="weeks of use", low=0, high=26, places=1, initial=2
    )

    def __init__(self, *args: Any, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["order_cost"].unit = currency  # type: ignore[attr-defined]
