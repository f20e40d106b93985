"""Forms about roast days: the day's limits, and batches set by hand."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone

from coupage.web.batches.models import Machine
from coupage.web.batches.queries import machines
from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import approaches
from coupage.web.common.fields import MassField, NumberField
from coupage.web.common.modelforms import ModelChoiceField, ModelForm
from coupage.web.roastdays.models import DayPlan

__all__ = ["AddBatchForm", "DayForm", "PinForm"]


def _date_field(**kwargs: Any) -> forms.DateField:
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(widget=widget, **kwargs)


class DayForm(ModelForm[DayPlan]):
    """When there is roasting, for what, and how sure it must be."""

    on = _date_field(label="Day")
    until = _date_field(
        label="Orders due until", help_text="All open orders up to this day are planned."
    )
    starts_at = forms.TimeField(
        label="First charge at", widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    hours = NumberField(label="Hours of roasting", unit="h", low=0.5, high=24, places=1)
    safety = NumberField(
        label="It must suffice with a chance of",
        unit="%",
        low=50,
        high=99.9,
        places=1,
        help_text="Losses differ from batch to batch: the surer, the more is roasted.",
    )

    use_within_days = NumberField(
        label="Roasted coffee counts for",
        unit="days",
        low=1,
        high=365,
        places=0,
        help_text="Older coffee is not planned into orders.",
    )

    class Meta:
        model = DayPlan
        fields = ["on", "until", "starts_at", "hours", "safety", "use_within_days", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}
        error_messages = {"on": {"unique": "This day has a plan already; open that one."}}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance._state.adding:
            today = timezone.localdate()
            self.initial.setdefault("on", today)
            self.initial.setdefault("until", today + dt.timedelta(days=1))
        self.initial["safety"] = Decimal(str(self.instance.safety)) * 100

    def clean_safety(self) -> Decimal:
        return Decimal(self.cleaned_data["safety"]) / 100

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        on, until = self.cleaned_data.get("on"), self.cleaned_data.get("until")
        if on and until and until < on:
            self.add_error("until", "This is before the day itself; what is due then is late.")
        return cleaned


class PinForm(forms.Form):
    """A batch as the roaster wants it."""

    machine = ModelChoiceField[Machine](queryset=Machine.objects.none(), empty_label=None)
    charge_g = MassField(label="Charge", above=0, high=1000)

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["machine"].queryset = machines()  # type: ignore[attr-defined]
        self.fields["charge_g"].unit = unit  # type: ignore[attr-defined]


class AddBatchForm(PinForm):
    """A batch of the roaster's own, beside what orders need."""

    approach = ModelChoiceField[Approach](
        label="Coffee", queryset=Approach.objects.none(), empty_label="choose"
    )
    field_order = ("approach", "machine", "charge_g")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["approach"].queryset = approaches()  # type: ignore[attr-defined]
