"""Forms about briefs: the brief, a want for each attribute, limits; per cent become ppm here."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms

from coupage.errors import InputError
from coupage.units import PPM, show_share
from coupage.web.blends.limits import rule_of
from coupage.web.blends.models import Brief, BriefLimit, Lasting, Recipe, Want
from coupage.web.coffees import groups
from coupage.web.coffees.queries import approaches
from coupage.web.common.fields import NumberField, PercentField
from coupage.web.common.modelforms import ModelChoiceField, ModelForm
from coupage.web.cuppings.columns import component_name
from coupage.web.cuppings.models import Attribute, Sample

__all__ = [
    "BriefForm",
    "LikeForm",
    "LimitForm",
    "WantForm",
    "limit_forms",
    "limits_of",
    "want_forms",
]

BLANK_LIMITS, MOST_LIMITS = 2, 12


class _RecipeChoice(ModelChoiceField[Recipe]):
    def label_from_instance(self, obj: Recipe) -> str:
        return f"{obj.blend.name}, version {obj.version}, {obj.state}"


class BriefForm(ModelForm[Brief]):
    """What a blend must taste like and may cost; its wants are forms of their own."""

    cost_cap = NumberField(
        label="Cost cap",
        above=0,
        places=4,
        required=False,
        help_text="Coffee per roasted kg: landed green divided by the yield.",
    )
    max_components = NumberField(label="Most coffees in the blend", low=1, high=6, places=0)
    min_share_ppm = PercentField(
        label="Least share of a coffee",
        high=50,
        help_text="Common practice: nothing under 5 %.",
    )

    lasting_weeks = NumberField(
        label="For how long", unit="weeks", low=1, high=104, places=0, required=False
    )

    class Meta:
        model = Brief
        fields = [
            "name",
            "service",
            "cost_cap",
            "max_components",
            "min_share_ppm",
            "lasting",
            "lasting_weeks",
            "note",
        ]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}
        error_messages = {"name": {"unique": "Another brief has this name."}}

    def __init__(self, *args: Any, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["cost_cap"].unit = f"{currency}/kg"  # type: ignore[attr-defined]
        self.fields["lasting"].choices = [("", "need not last"), *Lasting.choices]  # type: ignore[attr-defined]

    def clean(self) -> None:
        super().clean()
        lasting, weeks = self.cleaned_data.get("lasting"), self.cleaned_data.get("lasting_weeks")
        if lasting and weeks is None and "lasting_weeks" not in self.errors:
            self.add_error("lasting_weeks", "Give the weeks, from 1 to 104.")
        if weeks is not None and not lasting:
            self.add_error("lasting", "Say what must last so long, or empty the weeks.")

    def _get_validation_exclusions(self) -> set[str]:
        # What clean() says beside the field need not be said again by a constraint.
        said = (
            {"lasting", "lasting_weeks"}
            if {"lasting", "lasting_weeks"} & set(self.errors)
            else set()
        )
        found: set[str] = super()._get_validation_exclusions()  # type: ignore[misc]
        return found | said


class LikeForm(forms.Form):
    """What a brief shall taste like: a recipe, or a sample that was cupped."""

    recipe = _RecipeChoice(
        queryset=Recipe.objects.none(), required=False, label="A recipe", empty_label="none"
    )
    sample = ModelChoiceField[Sample](
        queryset=Sample.objects.none(),
        required=False,
        label="or a sample, a customer's say",
        empty_label="none",
    )
    within = NumberField(
        label="Within",
        unit="tolerances",
        low=Decimal("0.5"),
        high=5,
        places=1,
        required=False,
        help_text="1 is what the roastery calls the same.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["within"].initial = Decimal(1)
        recipes = Recipe.objects.filter(sealed=True).select_related("blend")
        samples = Sample.objects.filter(sealed=True, archived=False, cups__isnull=False)
        self.fields["recipe"].queryset = recipes.order_by("blend__name", "-version")  # type: ignore[attr-defined]
        self.fields["sample"].queryset = samples.distinct()  # type: ignore[attr-defined]

    def clean(self) -> None:
        super().clean()
        if not self.errors and not (
            self.cleaned_data.get("recipe") or self.cleaned_data.get("sample")
        ):
            self.add_error("recipe", "Choose a recipe or a sample.")
        if self.cleaned_data.get("within") is None:
            self.cleaned_data["within"] = Decimal(1)

    def named(self) -> str:
        """Return what the brief is to be named for."""
        recipe: Recipe | None = self.cleaned_data["recipe"]
        if recipe is not None:
            return f"{recipe.blend.name} {recipe.version}"
        return str(self.cleaned_data["sample"])

    def shares(self) -> dict[str, float]:
        """Return what it is made of, as the computing rooms take it."""
        recipe: Recipe | None = self.cleaned_data["recipe"]
        if recipe is not None:
            rows = recipe.shares.select_related("approach__lot")
            return {component_name(s.approach): s.share_ppm / PPM for s in rows}
        parts = self.cleaned_data["sample"].parts
        found: dict[str, float] = {}
        for part in parts.select_related("batch__approach_version__approach__lot"):
            name = component_name(part.batch.approach_version.approach)
            found[name] = found.get(name, 0.0) + part.share_ppm / PPM
        return found


class LimitForm(forms.Form):
    """A share that coffees of one kind must keep; left at "no limit" it says nothing."""

    rule = forms.ChoiceField(required=False, label="Which coffees")
    low = PercentField(label="At least", required=False)
    high = PercentField(label="At most", required=False)

    def __init__(self, *args: Any, offered: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kept = self.initial.get("rule", "")
        if kept and kept not in dict(offered):
            offered = [*offered, (kept, groups.words_for(kept))]
        self.fields["rule"].choices = [("", "no limit"), *offered]  # type: ignore[attr-defined]

    def clean(self) -> None:
        super().clean()
        rule, low, high = (self.cleaned_data.get(key) for key in ("rule", "low", "high"))
        if not rule:
            if low is not None or high is not None:
                self.add_error("rule", "Say which coffees keep this limit, or empty it.")
            return
        if not {"low", "high"} & set(self.errors):
            if not low and (high is None or high == PPM):
                self.add_error("low", "Give a share, at least or at most.")
            elif low is not None and high is not None and low > high:
                self.add_error("high", f"must be at least {show_share(low)}")

    def limit(self) -> BriefLimit | None:
        """Return the limit that was typed, or None."""
        kind, _, value = self.cleaned_data.get("rule", "").partition(":")
        if not kind:
            return None
        high = self.cleaned_data["high"]
        return BriefLimit(
            kind=kind,
            value=value,
            low_ppm=self.cleaned_data["low"] or 0,
            high_ppm=PPM if high is None else high,
        )


def limit_forms(brief: Brief | None, data: Any = None) -> list[LimitForm]:
    """Return a row for each limit of a brief and two blank ones."""
    offered = [
        (rule, text)
        for rule, text in groups.choices(approaches())
        if rule.partition(":")[0] in BriefLimit.Kind.values
    ]
    kept = [] if brief is None else list(brief.limits.all())
    sent = 0
    while data is not None and f"limit-{sent}-rule" in data and sent < MOST_LIMITS:
        sent += 1
    made = []
    for n in range(max(sent, min(len(kept) + BLANK_LIMITS, MOST_LIMITS)) if data is None else sent):
        initial = {}
        if n < len(kept):
            limit = kept[n]
            initial = {
                "rule": rule_of(limit),
                "low": limit.low_ppm or None,
                "high": None if limit.high_ppm == PPM else limit.high_ppm,
            }
        made.append(LimitForm(data, prefix=f"limit-{n}", initial=initial, offered=offered))
    return made


def limits_of(rows: list[LimitForm]) -> list[BriefLimit]:
    """Return the limits that were typed.

    Raises
    ------
    InputError
        When two rows name the same coffees.
    """
    found = [limit for row in rows if (limit := row.limit()) is not None]
    named = [(limit.kind, limit.value) for limit in found]
    twice = next((one for one in named if named.count(one) > 1), None)
    if twice:
        raise InputError(f"{groups.words_for(':'.join(twice))} stand in two limits; make it one")
    return found


class WantForm(forms.Form):
    """What is wanted of one attribute; left at "no wish" it says nothing."""

    kind = forms.ChoiceField(
        required=False, choices=[("", "no wish"), *Want.Kind.choices], label="Wanted"
    )
    low = NumberField(low=0, high=10, places=2, required=False, label="From")
    high = NumberField(low=0, high=10, places=2, required=False, label="To")
    importance = NumberField(
        above=0, high=10, places=1, required=False, label="Importance", initial=Decimal(1)
    )
    must = forms.BooleanField(required=False, label="Must-have")

    def __init__(self, attribute: Attribute, *args: Any, **kwargs: Any) -> None:
        self.attribute = attribute
        kwargs["prefix"] = f"want-{attribute.pk}"
        super().__init__(*args, **kwargs)

    def clean(self) -> None:
        super().clean()
        kind, values = self.cleaned_data.get("kind"), self.cleaned_data
        low, high = values.get("low"), values.get("high")
        if not kind:
            if low is not None or high is not None:
                self.add_error("kind", "Say how this range is wanted, or empty it.")
            return
        if kind != Want.Kind.AT_MOST and low is None and "low" not in self.errors:
            self.add_error("low", "Give the lower end, from 0 to 10.")
        if kind != Want.Kind.AT_LEAST and high is None and "high" not in self.errors:
            self.add_error("high", "Give the upper end, from 0 to 10.")
        if low is not None and high is not None and low >= high:
            self.add_error("high", f"must be more than {low}")

    def want(self) -> Want | None:
        """Return the want that was typed, or None."""
        values = self.cleaned_data
        if not values.get("kind"):
            return None
        return Want(
            attribute=self.attribute,
            kind=values["kind"],
            low=values["low"],
            high=values["high"],
            importance=values["importance"] or Decimal(1),
            must=values["must"],
        )


def want_forms(
    brief: Brief | None, data: Any = None, like: Mapping[str, dict[str, object]] | None = None
) -> list[WantForm]:
    """Return one form for each attribute in use, filled from a brief's wants or from ``like``."""
    kept = {want.attribute_id: want for want in brief.wants.all()} if brief else {}
    attributes = Attribute.objects.filter(archived=False) | Attribute.objects.filter(pk__in=kept)
    made = []
    for attribute in attributes.distinct():
        want = kept.get(attribute.pk)
        fields = ("kind", "low", "high", "importance", "must")
        initial = {name: getattr(want, name) for name in fields} if want else None
        initial = initial or (like or {}).get(attribute.name)
        made.append(WantForm(attribute, data, initial=initial))
    return made
