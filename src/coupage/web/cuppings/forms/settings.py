"""Forms about attributes, protocols and tasters."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError

from coupage.web.common.fields import NumberField
from coupage.web.common.modelforms import ModelForm
from coupage.web.cuppings.forms.tables import checked_passes
from coupage.web.cuppings.models import Attribute, Protocol, ProtocolStep, Taster
from coupage.web.cuppings.names import attribute_problem
from coupage.web.people.models import Person

__all__ = ["AttributeForm", "ProtocolForm", "StepForm", "TasterForm", "step_forms"]


class AttributeForm(ModelForm[Attribute]):
    """Something that is rated from 0 to 10."""

    tolerance = NumberField(
        label="Called the same within",
        unit="points",
        low=Decimal("0.1"),
        high=5,
        places=1,
        help_text="The difference in this attribute that you and your guests would not mind.",
    )
    order = NumberField(
        label="Place in the order", low=0, high=32_767, places=0, help_text="Small numbers first."
    )

    class Meta:
        model = Attribute
        fields = ["name", "kind", "low_word", "high_word", "tolerance", "order", "standard"]
        help_texts = {
            "kind": "A liking is kept apart: it never decides whether two coffees are the same.",
        }

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        others = Attribute.objects.exclude(pk=self.instance.pk).values_list("name", flat=True)
        problem = attribute_problem(name, others)
        if problem:
            raise ValidationError(f"{problem[0].upper()}{problem[1:]}.")
        return name


class ProtocolForm(ModelForm[Protocol]):
    """How a table is prepared; its steps are forms of their own."""

    dose_mg = NumberField(
        label="Dose per cup",
        unit="g",
        above=0,
        high=200,
        places=3,
        help_text="SCA Coffee Standards 2018: 8.25 g (± 0.25 g) to 150 mL.",
    )
    water_g = NumberField(label="Water per cup", unit="g", above=0, high=2000, places=0)
    water_c = NumberField(
        label="Water temperature",
        unit="°C",
        above=0,
        high=100,
        places=1,
        help_text="SCA Coffee Standards 2018: 93 °C (92.2 to 94.4).",
    )
    cups_per_sample = NumberField(
        label="Cups per sample",
        low=1,
        high=10,
        places=0,
        help_text="SCA Coffee Standards 2018: 5 where evenness within a sample is judged.",
    )

    class Meta:
        model = Protocol
        fields = ["name", "dose_mg", "water_g", "water_c", "cups_per_sample", "passes", "source"]
        error_messages = {"name": {"unique": "Another protocol has this name."}}
        help_texts = {"source": "Where its figures come from."}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            grams = Decimal(self.instance.dose_mg) / 1000
            self.initial["dose_mg"] = f"{grams.normalize():f}"

    def clean_dose_mg(self) -> int:
        return int(self.cleaned_data["dose_mg"] * 1000)

    def clean_passes(self) -> str:
        passes = checked_passes(self.cleaned_data["passes"])
        if not passes:
            raise ValidationError("Name at least one pass, such as: taste.")
        return passes


class StepForm(forms.Form):
    """One step on the clock of a protocol."""

    name = forms.CharField(label="Step", max_length=60, required=False)
    at_s = NumberField(label="At", unit="s", low=0, high=7200, places=0, required=False)
    caution = forms.CharField(label="Caution", max_length=200, required=False)

    def clean(self) -> None:
        super().clean()
        values = self.cleaned_data
        if not values.get("name") and (values.get("caution") or values.get("at_s") is not None):
            self.add_error("name", "Name the step, or empty the row.")


class StepFormSet(forms.BaseFormSet):  # type: ignore[type-arg]
    """The steps of a protocol, in the order typed."""

    def steps(self) -> list[ProtocolStep]:
        """Return the steps that were named."""
        return [
            ProtocolStep(
                name=f.cleaned_data["name"],
                at_s=None if f.cleaned_data["at_s"] is None else int(f.cleaned_data["at_s"]),
                caution=f.cleaned_data["caution"],
            )
            for f in self.forms
            if f.cleaned_data.get("name")
        ]


_StepFormSet = forms.formset_factory(StepForm, formset=StepFormSet, extra=3, max_num=20)


def step_forms(steps: Sequence[ProtocolStep] = (), data: Any = None) -> StepFormSet:
    """Return one row per step and a few empty ones."""
    initial = [{"name": s.name, "at_s": s.at_s, "caution": s.caution} for s in steps]
    # What is sent stands for itself: a row that equals its old step would else count as empty.
    return cast(StepFormSet, _StepFormSet(data, initial=None if data else initial, prefix="step"))


class TasterForm(ModelForm[Taster]):
    """Somebody who sits at tables."""

    class Meta:
        model = Taster
        fields = ["name", "person"]
        labels = {"person": "Account"}
        help_texts = {"person": "With an account they fill their own seat on their own phone."}
        error_messages = {
            "name": {"unique": "Another taster has this name."},
            "person": {"unique": "Another taster has this account."},
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        free = Person.objects.filter(is_active=True, taster__isnull=True)
        if self.instance.person_id:
            free = free | Person.objects.filter(pk=self.instance.person_id)
        person = cast(Any, self.fields["person"])
        person.queryset, person.empty_label = free.distinct(), "a guest, without an account"
