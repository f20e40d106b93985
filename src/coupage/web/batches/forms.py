"""Forms about batches and machines; masses and clock times turn into stored units here."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils import timezone

from coupage.web.batches import queries
from coupage.web.batches.models import Batch, Machine, Verdict
from coupage.web.coffees.models import ApproachVersion
from coupage.web.coffees.queries import newest_versions
from coupage.web.common.fields import ClockField, MassField, NumberField
from coupage.web.common.modelforms import ModelChoiceField, ModelForm
from coupage.web.people.models import Person

__all__ = ["BatchForm", "MachineForm", "PlanForm", "VerdictForm", "WeighForm"]


class _VersionChoice(ModelChoiceField[ApproachVersion]):
    def label_from_instance(self, obj: ApproachVersion) -> str:
        return str(obj.approach)


class BatchForm(ModelForm[Batch]):
    """One roast, as it is written down at the machine."""

    approach_version = _VersionChoice(
        label="Coffee and approach",
        queryset=ApproachVersion.objects.none(),
        empty_label="Choose what was roasted",
    )
    roasted_at = forms.DateTimeField(
        label="Roasted",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    green_g = MassField(label="Green in", above=0, high=5000)
    roasted_g = MassField(
        label="Roasted out",
        above=0,
        high=5000,
        required=False,
        help_text="Leave empty until it is weighed.",
    )
    seconds = ClockField(label="Roast time", required=False)
    first_crack_s = ClockField(label="First crack at", required=False)
    end_temperature_c = NumberField(
        label="End temperature", unit="°C", low=100, high=300, places=1, required=False
    )
    colour = NumberField(label="Colour", places=1, required=False)

    class Meta:
        model = Batch
        fields = [
            "number",
            "approach_version",
            "machine",
            "roasted_at",
            "operator",
            "green_g",
            "roasted_g",
            "seconds",
            "first_crack_s",
            "end_temperature_c",
            "colour",
            "colour_scale",
            "colour_ground",
            "note",
        ]
        help_texts = {
            "number": "What stands on the jar and the bin; each number once.",
            "colour_scale": "The name you use for your instrument's scale.",
        }
        error_messages = {
            "number": {"unique": "Another batch has this number; each number is given once."}
        }
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("green_g", "roasted_g"):
            self.fields[name].unit = unit  # type: ignore[attr-defined]
        offered = newest_versions()
        if self.instance.pk:
            # The batch keeps the version it was roasted by, also after newer targets were given.
            offered = ApproachVersion.objects.filter(
                pk__in=[*offered.values_list("pk", flat=True), self.instance.approach_version_id]
            ).select_related("approach__lot")
        self.fields["approach_version"].queryset = offered  # type: ignore[attr-defined]
        kept = self.instance.machine_id, self.instance.operator_id
        self._offer("machine", queries.machines() | Machine.objects.filter(pk=kept[0] or 0))
        people = Person.objects.filter(is_active=True)
        self._offer("operator", people | Person.objects.filter(pk=kept[1] or 0))
        if not self.instance.pk:
            self.initial.setdefault("number", queries.next_number())
            self.initial.setdefault("roasted_at", timezone.localtime().replace(second=0))

    def _offer(self, name: str, things: QuerySet[Any]) -> None:
        """Offer what is in use, and what the batch names already."""
        field = self.fields[name]
        field.queryset, field.empty_label = things.distinct(), "not written down"  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        values = self.cleaned_data
        green, roasted = values.get("green_g"), values.get("roasted_g")
        if green and roasted and roasted > green:
            self.add_error("roasted_g", "More cannot come out than went in; check both masses.")
        whole, crack = values.get("seconds"), values.get("first_crack_s")
        if whole and crack and crack > whole:
            self.add_error("first_crack_s", "The first crack comes before the end of the roast.")
        if values.get("colour") is not None and not values.get("colour_scale"):
            version = values.get("approach_version")
            if version is not None and version.colour_scale:
                values["colour_scale"] = version.colour_scale
            else:
                self.add_error("colour_scale", "Name the scale, or the number says nothing.")
        at = values.get("roasted_at")
        if at is not None and at > timezone.now() + dt.timedelta(days=1):
            self.add_error("roasted_at", "This is in the future; check the date.")
        return cleaned


class VerdictForm(forms.Form):
    """Release, look again or hold; with a reason where one is needed."""

    verdict = forms.ChoiceField(
        choices=[choice for choice in Verdict.choices if choice[0] != Verdict.WAITING],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed for a hold, to lift one, and to decide other than proposed.",
    )


class MachineForm(ModelForm[Machine]):
    """A roasting machine and the charges it takes."""

    least_charge_g = MassField(label="Least charge", above=0, high=1000)
    largest_charge_g = MassField(
        label="Largest charge",
        above=0,
        high=1000,
        help_text="At most about 80 % of nominal capacity, best 50 to 70 % (Rao 2014, secondary).",
    )

    minutes = NumberField(
        label="Minutes for a batch",
        unit="min",
        low=1,
        high=240,
        places=0,
        required=False,
        help_text="From charge to next charge. Trade figure: 3 to 3.5 batches an hour.",
    )
    change_minutes = NumberField(
        label="More between two coffees", unit="min", low=0, high=240, places=0, required=False
    )

    class Meta:
        model = Machine
        fields = [
            "name",
            "site",
            "least_charge_g",
            "largest_charge_g",
            "minutes",
            "change_minutes",
        ]

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("least_charge_g", "largest_charge_g"):
            self.fields[name].unit = unit  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        least = self.cleaned_data.get("least_charge_g")
        largest = self.cleaned_data.get("largest_charge_g")
        if least and largest and least > largest:
            self.add_error("largest_charge_g", "must be at least the least charge")
        for name in ("minutes", "change_minutes"):
            if self.cleaned_data.get(name) is None and name not in self.errors:
                self.cleaned_data[name] = getattr(self.instance, name)
        return cleaned


class PlanForm(forms.Form):
    """A batch for a machine's list: what, and how much goes in."""

    version = _VersionChoice(
        label="Coffee and approach",
        queryset=ApproachVersion.objects.none(),
        empty_label="Choose what to roast",
    )
    green_g = MassField(
        label="Charge",
        above=0,
        high=1000,
        required=False,
        help_text="Empty takes the charge of the approach.",
    )
    note = forms.CharField(required=False, max_length=200)

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["green_g"].unit = unit  # type: ignore[attr-defined]
        self.fields["version"].queryset = newest_versions()  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        version = self.cleaned_data.get("version")
        if version is not None and "green_g" in self.cleaned_data:
            if not self.cleaned_data["green_g"]:
                self.cleaned_data["green_g"] = version.charge_g
            if not self.cleaned_data["green_g"]:
                self.add_error("green_g", "The approach names no charge; type one.")
        return cleaned


class WeighForm(forms.Form):
    """What is read after the drop, on one line."""

    roasted_g = MassField(label="Roasted out", above=0, high=5000)
    end_temperature_c = NumberField(
        label="End temperature", unit="°C", low=100, high=300, places=1, required=False
    )
    colour = NumberField(label="Colour", places=1, required=False)

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["roasted_g"].unit = unit  # type: ignore[attr-defined]
