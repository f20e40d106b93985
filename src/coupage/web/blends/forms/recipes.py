"""Forms about blends and recipes; per cent become parts per million here."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, cast

from django import forms
from django.utils import timezone

from coupage.units import GRAMS_PER_OZ, grams
from coupage.web.batches.models import Batch
from coupage.web.blends.models import Blend, Brief, Recipe
from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import approaches
from coupage.web.common.dates import day_text
from coupage.web.common.fields import MassField, NumberField
from coupage.web.common.modelforms import ModelChoiceField, ModelForm
from coupage.web.common.shares import ShareFormSet, ShareRow

__all__ = [
    "BlendForm",
    "ChooseForm",
    "ReasonForm",
    "RecipeForm",
    "SampleForm",
    "ServiceForm",
    "WeighForm",
    "share_forms",
]


class BlendForm(ModelForm[Blend]):
    """A named product."""

    weekly_g = MassField(
        label="Sold in a week",
        above=0,
        high=100_000,
        required=False,
        help_text="Roasted; says how many weeks the green on hand lasts.",
    )

    class Meta:
        model = Blend
        fields = ["name", "brief", "weekly_g", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}
        error_messages = {"name": {"unique": "Another blend has this name."}}
        help_texts = {"brief": "What it must taste like; recipes are held against it."}

    def __init__(self, *args: Any, unit: str = "kg", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["weekly_g"].unit = unit  # type: ignore[attr-defined]
        offered = Brief.objects.filter(archived=False)
        if self.instance.pk and self.instance.brief_id:
            offered = offered | Brief.objects.filter(pk=self.instance.brief_id)
        self.fields["brief"].queryset = offered.distinct()  # type: ignore[attr-defined]
        self.fields["brief"].empty_label = "no brief yet"  # type: ignore[attr-defined]


class ShareForm(ShareRow):
    """One coffee and its share of the roasted blend."""

    noun = "coffee"
    component = ModelChoiceField[Approach](
        queryset=Approach.objects.none(), required=False, label="Coffee", empty_label="no coffee"
    )
    field_order = ("component", "share")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kept = self.initial.get("component")
        offered = approaches()
        if kept is not None:
            # A recipe may hold a coffee that was put away since; it stays choosable here.
            pk = kept.pk if isinstance(kept, Approach) else kept
            offered = (offered | Approach.objects.filter(pk=pk).select_related("lot")).distinct()
        self.fields["component"].queryset = offered  # type: ignore[attr-defined]


_ShareFormSet = forms.formset_factory(
    ShareForm, formset=ShareFormSet, extra=1, max_num=20, absolute_max=40
)


def share_forms(recipe: Recipe | None, data: Any = None) -> ShareFormSet:
    """Return the rows of coffees and shares, filled from a recipe."""
    if data is not None:
        # What was sent stands by itself: a row that equals the recipe's is not an empty one.
        return cast(ShareFormSet, _ShareFormSet(data))
    shares = recipe.shares.all() if recipe else ()
    initial = [{"component": share.approach, "share": share.share_ppm} for share in shares]
    return cast(ShareFormSet, _ShareFormSet(initial=initial))


class RecipeForm(forms.Form):
    """What goes with the shares of a recipe."""

    reason = forms.CharField(
        label="Why this recipe",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What changed and why, in a sentence; it is printed on the recipe card.",
    )


class ReasonForm(forms.Form):
    """A reason that history keeps."""

    reason = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}))


class ServiceForm(ReasonForm):
    """From when, or until when, and why."""

    on = forms.DateField(
        label="Date", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    field_order = ("on", "reason")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["on"].initial = timezone.localdate()


class ChooseForm(forms.Form):
    """How to look for the best recipes."""

    step = forms.ChoiceField(
        choices=[("5", "5 %"), ("2", "2 %"), ("1", "1 %")],
        initial="5",
        help_text="Common practice: steps of 5 to 10 %.",
    )
    coffees = forms.ModelMultipleChoiceField(
        queryset=Approach.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None ticked means all of them.",
    )
    in_stock = forms.BooleanField(
        required=False, label="Only coffees of which green is on hand", initial=True
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["coffees"].queryset = approaches()  # type: ignore[attr-defined]


class _BatchChoice(ModelChoiceField[Batch]):
    def label_from_instance(self, obj: Batch) -> str:
        return (
            f"{obj.number}, roasted {day_text(timezone.localtime(obj.roasted_at))}, "
            f"{obj.get_verdict_display()}"
        )


class WeighForm(forms.Form):
    """How much to weigh, on what scale, and from which batches."""

    total = MassField(label="How much blend", above=0, high=2000, unit="kg")
    loads = NumberField(
        label="In how many loads",
        low=1,
        high=50,
        places=0,
        initial=Decimal(1),
        required=False,
        help_text="What the mixer takes at once is one load; each is weighed alike.",
    )
    resolution = NumberField(
        label="Smallest step of the scale",
        unit="g",
        above=0,
        high=1000,
        places=2,
        help_text="By how much its figure jumps.",
    )

    def __init__(
        self, *args: Any, unit: str, batches: dict[Approach, list[Batch]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["total"].unit = unit  # type: ignore[attr-defined]
        step, usual = ("oz", "0.5") if unit == "lb" else ("g", "10")
        self.fields["resolution"].unit = step  # type: ignore[attr-defined]
        self.fields["resolution"].initial = Decimal(usual)
        self.fields["total"].initial = grams(10, "kg" if unit == "kg" else "lb")
        self.approaches = list(batches)
        for approach, found in batches.items():
            queryset = Batch.objects.filter(pk__in=[b.pk for b in found]).order_by("-roasted_at")
            self.fields[f"batch-{approach.pk}"] = _BatchChoice(
                queryset=queryset,
                label=f"Batch of {approach}",
                required=False,
                initial=found[0].pk if found else None,
                empty_label="written in by hand",
            )

    def resolution_g(self) -> Decimal:
        """Return the step of the scale in grams."""
        step: Decimal = self.cleaned_data["resolution"]
        in_ounces = self.fields["resolution"].unit == "oz"  # type: ignore[attr-defined]
        return step * GRAMS_PER_OZ if in_ounces else step

    def chosen(self) -> dict[Approach, Batch]:
        """Return the batch chosen for each coffee that has one."""
        named = {a: self.cleaned_data.get(f"batch-{a.pk}") for a in self.approaches}
        return {approach: batch for approach, batch in named.items() if batch is not None}


class SampleForm(forms.Form):
    """Name the sample that is made by a recipe."""

    label = forms.CharField(max_length=80, help_text="What stands on the jar; each label once.")
