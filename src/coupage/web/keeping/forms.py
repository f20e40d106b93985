"""Forms of keeping: baselines, ageing plans, retained references, a roast to try."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

from django import forms
from django.utils import timezone

from coupage.web.common.fields import NumberField
from coupage.web.keeping.actions import LONGEST_DAY, MOST_DAYS
from coupage.web.keeping.models import Retained

__all__ = ["AgeingForm", "BaselineForm", "RetainForm", "TryForm"]


def _date_input() -> forms.DateInput:
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class BaselineForm(forms.Form):
    """From when on charts begin anew, and why."""

    since = forms.DateField(label="Begin anew from", widget=_date_input())
    size = forms.IntegerField(
        label="Batches that set the limits",
        min_value=5,
        max_value=200,
        initial=20,
        help_text="The first so many from that day. From fewer than 20 limits are rough.",
    )
    reason = forms.CharField(
        max_length=200,
        label="Why",
        help_text="What changed: a new burner, a drum cleaned, another lot, a target moved.",
    )

    def clean_since(self) -> dt.date:
        day: dt.date = self.cleaned_data["since"]
        if day > timezone.localdate():
            raise forms.ValidationError("This day is still to come.")
        return day


class AgeingForm(forms.Form):
    """On which days after roasting a sample is cupped again."""

    days = forms.CharField(
        label="Cup it again on day",
        initial="2, 5, 9, 14",
        max_length=120,
        help_text="Days after roasting, with commas between: 2, 5, 9, 14, 21.",
    )
    note = forms.CharField(required=False, max_length=200, label="Where the sample is kept")

    def clean_days(self) -> list[int]:
        pieces = [p for p in re.split(r"[\s,;]+", self.cleaned_data["days"]) if p]
        if not all(p.isascii() and p.isdigit() and len(p) < 5 for p in pieces):
            raise forms.ValidationError("Write whole days with commas between, such as 2, 5, 9.")
        days = sorted({int(p) for p in pieces})
        if not days or len(days) > MOST_DAYS or days[0] < 1 or days[-1] > LONGEST_DAY:
            raise forms.ValidationError(
                f"Name 1 to {MOST_DAYS} days, each from 1 to {LONGEST_DAY}."
            )
        return days


class RetainForm(forms.Form):
    """Put a sample by as the reference of its approach."""

    kept = forms.ChoiceField(label="How it is kept", choices=Retained.Kept.choices)
    since = forms.DateField(label="Put by on", widget=_date_input())
    place = forms.CharField(required=False, max_length=80, label="Where")
    reason = forms.CharField(max_length=200, label="Why this batch")

    def clean_since(self) -> dt.date:
        day: dt.date = self.cleaned_data["since"]
        if day > timezone.localdate():
            raise forms.ValidationError("This day is still to come.")
        return day


class TryForm(forms.Form):
    """A roast to try: how far its time and end temperature may move from the approach."""

    name = forms.CharField(
        max_length=40, label="Name of the approach to try", help_text="Such as medium, 20 s more."
    )
    seconds = NumberField(label="Roast time moves by", unit="s", low=-120, high=120, places=0)
    end_temperature_c = NumberField(
        label="End temperature moves by", unit="°C", low=-10, high=10, places=1
    )

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        moved = [self.cleaned_data.get("seconds"), self.cleaned_data.get("end_temperature_c")]
        if not self.errors and not any(moved):
            self.add_error("seconds", "Nothing moves; a trial needs a roast that differs.")
        return cleaned
