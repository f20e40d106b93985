"""Forms about runs, bags, dispatches and rules; masses and per cent turn into stored units here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from coupage.errors import InputError
from coupage.units import parse_number
from coupage.web.batches.models import RoastedEntry
from coupage.web.blends.models import Blend, Recipe
from coupage.web.coffees.models import Approach
from coupage.web.common.feedback import sentence
from coupage.web.common.fields import MassField, NumberField, PercentField
from coupage.web.common.modelforms import ModelChoiceField, ModelForm
from coupage.web.orders.models import Customer, Order
from coupage.web.orders.queries import customers
from coupage.web.production.gs1 import checked_gtin
from coupage.web.production.lot_code import check_pattern
from coupage.web.production.models import BagEntry, Pack, Packed, PackingRules, RunPart
from coupage.web.production.queries import packs

__all__ = [
    "BagsForm",
    "CloseForm",
    "DispatchForm",
    "LabelForm",
    "LiftForm",
    "MixingForm",
    "PackBagsForm",
    "PackForm",
    "PlanForm",
    "ReasonForm",
    "ReturnForm",
    "RoastedForm",
    "RulesForm",
]

_MOST_BAGS = 10_000
FINE = {"kg": "g", "lb": "oz"}


def _day(**more: Any) -> forms.DateField:
    field = forms.DateField(
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **more
    )
    field.initial = timezone.localdate
    return field


def _not_ahead(day: dt.date) -> dt.date:
    if day > timezone.localdate() + dt.timedelta(days=1):
        raise ValidationError("This is in the future; check the date.")
    return day


class _RecipeChoice(ModelChoiceField[Recipe]):
    def label_from_instance(self, obj: Recipe) -> str:
        return f"{obj.blend}, version {obj.version} ({obj.state})"


class PlanForm(forms.Form):
    """What to blend, how much, in what blender."""

    recipe = _RecipeChoice(queryset=Recipe.objects.none(), empty_label="Choose a blend")
    total = MassField(label="How much blend", above=0, high=5000)
    blender = MassField(label="The blender holds", above=0, high=2000)
    step = NumberField(label="Step of the scale", unit="g", low=1, high=1000, places=0)
    on = _day(label="Day", help_text="Gives the lot its code.")
    rest = forms.BooleanField(
        label="Use up what is left of the last run",
        required=False,
        help_text="It is spread evenly over the lifts, and the new lot can be traced back to it.",
    )

    def __init__(self, *args: Any, unit: str, rules: PackingRules, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        states = [Recipe.State.IN_SERVICE, Recipe.State.APPROVED]
        usable = Recipe.objects.filter(state__in=states, blend__archived=False)
        self.fields["recipe"].queryset = usable.select_related("blend").order_by(  # type: ignore[attr-defined]
            "blend__name", "-version"
        )
        for name in ("total", "blender"):
            self.fields[name].unit = unit  # type: ignore[attr-defined]
        self.fields["blender"].initial = rules.blender_g
        self.fields["step"].initial = Decimal(rules.step_g)

    def clean_on(self) -> dt.date:
        return _not_ahead(self.cleaned_data["on"])


class LiftForm(forms.Form):
    """What the scale showed for one lift: a box for each part."""

    def __init__(
        self, *args: Any, parts: Sequence[RunPart], lift: int, unit: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.lift = lift
        self.parts = {
            f"part-{part.pk}": part
            for part in parts
            if lift <= len(part.per_lift_g) and part.per_lift_g[lift - 1]
        }
        for name, part in self.parts.items():
            label = f"{part.approach or 'Left of'} · {part}"
            fine: Any = FINE.get(unit, "g")
            self.fields[name] = MassField(label=label, unit=fine, low=0, high=2_000_000)

    def as_planned(self) -> dict[RunPart, int]:
        return {part: part.per_lift_g[self.lift - 1] for part in self.parts.values()}

    def weights(self) -> dict[RunPart, int]:
        return {part: self.cleaned_data[name] for name, part in self.parts.items()}


class MixingForm(forms.Form):
    """Samples of a run, one coffee sorted out of each."""

    approach = ModelChoiceField[Approach](
        label="Sorted out", queryset=Approach.objects.none(), empty_label="Choose a coffee"
    )
    sample_g = NumberField(
        label="One sample", unit="g", low=10, high=5000, places=0, initial=Decimal(100)
    )
    bean_mg = NumberField(
        label="One bean",
        unit="mg",
        low=20,
        high=600,
        places=0,
        initial=Decimal(130),
        help_text="Weigh 100 roasted beans and divide by 100. 130 mg is assumed, not measured.",
    )
    shares = forms.CharField(
        label="Grams found in each sample",
        help_text="At least 3, parted by spaces: 34,5 31 36",
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, approaches: Sequence[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        found = Approach.objects.filter(pk__in=approaches).select_related("lot")
        self.fields["approach"].queryset = found  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        typed = self.cleaned_data.get("shares", "").replace(";", " ").split()
        sample = self.cleaned_data.get("sample_g")
        if not typed or sample is None:
            return cleaned
        try:
            found = [parse_number(text, "sample") for text in typed]
        except InputError as problem:
            self.add_error("shares", sentence(problem))
            return cleaned
        if len(found) < 3 or len(found) > 100:
            self.add_error("shares", "Give 3 to 100 samples; two say nothing about a spread.")
        elif any(not 0 <= grams <= sample for grams in found):
            self.add_error("shares", f"Each must lie between 0 and the sample of {sample} g.")
        else:
            self.cleaned_data["shares_ppm"] = [round(g / sample * 1_000_000) for g in found]
        return cleaned


class PackBagsForm(forms.Form):
    """Bags that were just packed."""

    pack = ModelChoiceField[Pack](label="Size", queryset=Pack.objects.none())
    bags = NumberField(label="Bags", low=1, high=_MOST_BAGS, places=0)

    def __init__(self, *args: Any, blend: Blend, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = packs().filter(blend=blend)
        self.fields["pack"].queryset = offered  # type: ignore[attr-defined]
        self.fields["pack"].empty_label = "Choose a size"  # type: ignore[attr-defined]
        self.fields["pack"].label_from_instance = lambda pack: pack.size  # type: ignore[attr-defined]


class CloseForm(forms.Form):
    """What became of the kilograms that are not in bags."""

    left = MassField(
        label="Left in the bin", low=0, high=5000, help_text="Weighed, for the next run."
    )
    lost = MassField(
        label="Lost",
        low=0,
        high=5000,
        initial=0,
        help_text="Spilt, swept, pulled for the table.",
    )
    reason = forms.CharField(
        required=False,
        max_length=200,
        help_text="Needed when more is missing than the rules allow.",
    )

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("left", "lost"):
            self.fields[name].unit = unit  # type: ignore[attr-defined]


class ReasonForm(forms.Form):
    """Why something is done that others must understand later."""

    reason = forms.CharField(max_length=200, widget=forms.Textarea(attrs={"rows": 2}))


class BagsForm(forms.Form):
    """A line in the ledger of bags that a person writes."""

    kind = forms.ChoiceField(
        label="What happened",
        choices=[
            (kind.value, kind.label)
            for kind in (
                BagEntry.Kind.OPENED,
                BagEntry.Kind.WASTED,
                BagEntry.Kind.COUNT,
                BagEntry.Kind.UNPACKED,
            )
        ],
    )
    bags = NumberField(
        label="Bags",
        low=-_MOST_BAGS,
        high=_MOST_BAGS,
        places=0,
        help_text="For a count give the difference, with a minus where some are missing.",
    )
    on = _day(label="Day")
    reason = forms.CharField(max_length=200, required=False)

    def clean_on(self) -> dt.date:
        return _not_ahead(self.cleaned_data["on"])


class RoastedForm(forms.Form):
    """A line in the ledger of a batch that a person writes."""

    kind = forms.ChoiceField(
        label="What happened",
        choices=[
            (kind.value, kind.label)
            for kind in (
                RoastedEntry.Kind.TASTED,
                RoastedEntry.Kind.WASTED,
                RoastedEntry.Kind.COUNT,
            )
        ],
    )
    mass = MassField(
        label="How much",
        low=-5000,
        high=5000,
        help_text="For a count give the difference, with a minus where some is missing.",
    )
    on = _day(label="Day")
    reason = forms.CharField(
        max_length=200, required=False, help_text="Needed for all but the table."
    )

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["mass"].unit = unit  # type: ignore[attr-defined]

    def clean_on(self) -> dt.date:
        return _not_ahead(self.cleaned_data["on"])

    def clean_mass(self) -> int:
        grams: int = self.cleaned_data["mass"]
        if grams == 0:
            raise ValidationError("must not be nothing")
        return grams

    def signed_g(self) -> int:
        """Return grams as the ledger has them: what is taken, with a minus."""
        grams: int = self.cleaned_data["mass"]
        return grams if self.cleaned_data["kind"] == RoastedEntry.Kind.COUNT else -abs(grams)


class DispatchForm(forms.Form):
    """Who gets bags, and which: a box for each lot and size on the shelf."""

    customer = ModelChoiceField[Customer](
        queryset=Customer.objects.none(), empty_label="Choose a customer"
    )
    order = ModelChoiceField[Order](
        queryset=Order.objects.none(), required=False, empty_label="without an order"
    )
    on = _day(label="Day")
    note = forms.CharField(max_length=200, required=False)

    def __init__(self, *args: Any, shelf: Sequence[Packed], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["customer"].queryset = customers()  # type: ignore[attr-defined]
        waiting = Order.objects.filter(state__in=[Order.State.OPEN, Order.State.PACKED])
        orders = waiting.select_related("customer").order_by("due_on", "id")
        self.fields["order"].queryset = orders  # type: ignore[attr-defined]
        self.fields["order"].label_from_instance = (  # type: ignore[attr-defined]
            lambda order: f"{order.number}, {order.customer}"
        )
        self.shelf = {f"bags-{row.pk}": row for row in shelf}
        for name, row in self.shelf.items():
            self.fields[name] = NumberField(
                label=str(row), low=0, high=_MOST_BAGS, places=0, required=False
            )

    def clean_on(self) -> dt.date:
        return _not_ahead(self.cleaned_data["on"])

    def bags(self) -> dict[Packed, int]:
        counts = {row: self.cleaned_data.get(name) for name, row in self.shelf.items()}
        return {row: int(count) for row, count in counts.items() if count}


class ReturnForm(forms.Form):
    """Bags that came back."""

    bags = NumberField(label="Bags", low=1, high=_MOST_BAGS, places=0)
    on = _day(label="Day")
    reason = forms.CharField(max_length=200)

    def clean_on(self) -> dt.date:
        return _not_ahead(self.cleaned_data["on"])


class LabelForm(forms.Form):
    """Which labels to print, and how many."""

    packed = ModelChoiceField[Packed](label="Size", queryset=Packed.objects.none())
    what = forms.ChoiceField(
        label="For", choices=[("bag", "bags"), ("box", "boxes")], initial="bag"
    )
    count = NumberField(label="How many", low=1, high=500, places=0)

    def __init__(self, *args: Any, rows: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["packed"]
        field.queryset, field.empty_label = rows, None
        field.label_from_instance = lambda row: row.pack.size


class PackForm(ModelForm[Pack]):
    """A size in which a blend is sold."""

    bag_g = MassField(label="One bag", unit="g", low=10, high=1_000_000)

    class Meta:
        model = Pack
        fields = ["blend", "bag_g", "gtin", "per_box", "box_gtin"]
        help_texts = {
            "gtin": "Your own, from your GS1 organisation; leave it empty if you have none.",
            "box_gtin": "A box has a number of its own.",
        }
        error_messages = {"gtin": {"unique": "Another size has this item number."}}

    def clean_gtin(self) -> str:
        return _gtin(self.cleaned_data["gtin"])

    def clean_box_gtin(self) -> str:
        return _gtin(self.cleaned_data["box_gtin"])


def _gtin(text: str) -> str:
    if not text:
        return ""
    try:
        return checked_gtin(text)
    except InputError as problem:
        raise ValidationError(sentence(problem)) from problem


class RulesForm(ModelForm[PackingRules]):
    """How the roastery blends and labels."""

    tolerance_ppm = PercentField(
        label="A share may be off by", high=20, help_text="Points of the blend. Common practice."
    )
    missing_ppm = PercentField(
        label="Kilograms may be missing at closing", high=20, help_text="Of what was weighed in."
    )
    blender_g = MassField(label="The blender holds", above=0, high=2000)
    step_g = MassField(label="Step of the scale", unit="g", low=1, high=1000)
    link_base = forms.URLField(
        label="Own web address for QR codes",
        required=False,
        assume_scheme="https",
        help_text="Like https://coffee.example/. Without it QR codes hold plain text.",
    )

    class Meta:
        model = PackingRules
        fields = [
            "lot_pattern",
            "letter_l",
            "best_before_days",
            "rest_days",
            "use_within_days",
            "blender_g",
            "step_g",
            "tolerance_ppm",
            "missing_ppm",
            "link_base",
        ]
        help_texts = {
            "lot_pattern": "{day} {month} {yy} or {year}, {run} of the day, {blend}: two letters.",
            "letter_l": "The law of the EU wants it unless the code stands apart by itself.",
        }

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["blender_g"].unit = unit  # type: ignore[attr-defined]

    def clean_lot_pattern(self) -> str:
        pattern = str(self.cleaned_data["lot_pattern"])
        try:
            check_pattern(pattern)
        except InputError as problem:
            raise ValidationError(sentence(problem)) from problem
        return pattern

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        rest, within = (self.cleaned_data.get(n) for n in ("rest_days", "use_within_days"))
        if rest is not None and within is not None and within < rest:
            self.add_error("use_within_days", "must not come before the rest is over")
        return cleaned
