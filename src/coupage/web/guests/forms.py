"""Forms of guest tests."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError

from coupage.web.batches.models import Batch
from coupage.web.blends.models import Recipe
from coupage.web.common.dates import day_text
from coupage.web.common.fields import NumberField, PercentField
from coupage.web.common.modelforms import ModelForm
from coupage.web.cuppings.models import Sample
from coupage.web.guests.models import MOST_REPEATS, MOST_TRAYS, GuestTest, Side

__all__ = ["AnswerForm", "MoreTraysForm", "ReasonForm", "TestForm", "begun_with"]

_OFFERED = 60
_NAMED = "named"
Choices = list[tuple[str, str | list[tuple[str, str]]]]


def _sources(keep: tuple[str, ...] = ()) -> Choices:
    """Offer newest batches and recipes, and whatever a test holds already."""
    batches = Batch.objects.filter(void=False).select_related("approach_version__approach__lot")
    recipes = Recipe.objects.filter(blend__archived=False).select_related("blend")
    return [
        (_NAMED, "something else, named beside"),
        (
            "Batches",
            _chosen("batch", batches.order_by("-roasted_at", "-id"), Batch, keep, _batch_words),
        ),
        (
            "Recipes",
            _chosen("recipe", recipes.order_by("blend__name", "-version"), Recipe, keep, str),
        ),
    ]


def _chosen(kind: str, rows: Any, model: Any, keep: tuple[str, ...], words: Any) -> list[Any]:
    offered = [(f"{kind}:{row.pk}", words(row)) for row in rows[:_OFFERED]]
    there = {value for value, _ in offered}
    for value in keep:
        name, _, key = value.partition(":")
        if name == kind and value not in there and key.isascii() and key.isdigit():
            row = model.objects.filter(pk=key[:18]).first()
            offered += [(value, words(row))] if row is not None else []
    return offered


def _batch_words(batch: Batch) -> str:
    return f"{batch.number}, {batch.approach_version.approach}, {day_text(batch.roasted_at)}"


def begun_with(told: str) -> tuple[str, str]:
    """Return source and name of a coffee in a link; a sample of one batch is that batch."""
    kind, _, key = told.partition(":")
    if kind != "sample":
        return told, ""
    known = key.isascii() and key.isdigit()
    sample = Sample.objects.filter(pk=key[:18]).first() if known else None
    if sample is None:
        return _NAMED, ""
    batches = list(sample.parts.values_list("batch_id", flat=True)[:2])
    return (f"batch:{batches[0]}", "") if len(batches) == 1 else (_NAMED, sample.label)


class TestForm(ModelForm[GuestTest]):
    """What a test asks, of which two coffees, and how sure its answer shall be."""

    a_source = forms.ChoiceField(label="Coffee A", initial=_NAMED)
    a_label = forms.CharField(label="Named", required=False, max_length=80)
    b_source = forms.ChoiceField(label="Coffee B", initial=_NAMED)
    b_label = forms.CharField(label="Named", required=False, max_length=80)
    share_ppm = PercentField(
        label="Guests who may notice",
        low=1,
        high=99,
        places=1,
        help_text="The largest share of guests who can tell the two apart that you could live "
        "with. 30 % is a usual start; 20 % is strict and takes many more answers.",
    )
    alpha_ppm = PercentField(
        label="Risk of a false difference",
        low=0.1,
        high=49,
        places=1,
        help_text="How often the test may call a pair different that nobody can tell apart.",
    )
    beta_ppm = PercentField(
        label="Risk of a false likeness",
        low=0.1,
        high=49,
        places=1,
        help_text="How often the test may miss a difference that as many as above can tell.",
    )
    tasters = NumberField(
        label="Tasters",
        required=False,
        low=1,
        high=MOST_TRAYS,
        places=0,
        help_text="Empty: as many as the test needs.",
    )
    repeats = NumberField(label="Answers of each taster", low=1, high=MOST_REPEATS, places=0)

    class Meta:
        model = GuestTest
        fields = [
            "name",
            "question",
            "kind",
            "asked_for",
            "share_ppm",
            "alpha_ppm",
            "beta_ppm",
            "tasters",
            "repeats",
            "stops_early",
            "note",
        ]
        labels = {"kind": "Kind of test", "stops_early": "Stop as soon as it is clear"}
        help_texts = {
            "name": "Guests see it: do not name what is in the cups.",
            "asked_for": "For the paired test and the 3-AFC only: what A is expected to have more "
            "of, such as acidity.",
            "stops_early": "The test may end after any answer; it takes fewer tasters on average. "
            "One answer of each.",
            "note": "Guests do not see it.",
        }
        error_messages = {"name": {"unique": "Another test has this name; each is given once."}}
        widgets = {
            "note": forms.Textarea(attrs={"rows": 2}),
            "question": forms.RadioSelect,
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            for side in self.instance.sides.all():
                source = _source_of(side)
                self.initial[f"{side.letter.lower()}_source"] = source
                self.initial[f"{side.letter.lower()}_label"] = side.label
        keep = tuple(str(self.initial.get(f"{letter}_source") or "") for letter in "ab")
        offered = _sources(keep)
        for letter in "ab":
            cast(Any, self.fields[f"{letter}_source"]).choices = offered
        cast(Any, self.fields["question"]).choices = GuestTest.Question.choices

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        for letter in "ab":
            source, label = values.get(f"{letter}_source"), values.get(f"{letter}_label", "")
            if source == _NAMED and not label.strip():
                self.add_error(f"{letter}_label", "Name the coffee, or choose a batch or a recipe.")
        a, b = (self._told(letter) for letter in "ab")
        if not self.errors and a == b:
            self.add_error("b_source", "A and B are the same; choose another coffee.")
        if values.get("kind") not in {"2-AFC", "3-AFC"}:
            values["asked_for"] = ""
        return values

    def clean_tasters(self) -> int | None:
        tasters = self.cleaned_data["tasters"]
        return None if tasters is None else int(tasters)

    def clean_repeats(self) -> int:
        return int(self.cleaned_data["repeats"])

    def _told(self, letter: str) -> str:
        values = self.cleaned_data
        return str(values.get(f"{letter}_label") or values.get(f"{letter}_source") or "")

    def sides(self) -> list[Side]:
        """Return the two sides as chosen; call when the form is valid."""
        return [self._side(letter) for letter in "ab"]

    def _side(self, letter: str) -> Side:
        kind, _, key = str(self.cleaned_data[f"{letter}_source"]).partition(":")
        side = Side(
            letter=letter.upper(), label=" ".join(self.cleaned_data[f"{letter}_label"].split())
        )
        if kind == "batch":
            side.batch = Batch.objects.get(pk=key)
            side.label = side.label or f"batch {side.batch.number}"
        elif kind == "recipe":
            side.recipe = Recipe.objects.select_related("blend").get(pk=key)
            side.label = side.label or str(side.recipe)[:80]
        return side


def _source_of(side: Side) -> str:
    if side.batch_id:
        return f"batch:{side.batch_id}"
    return f"recipe:{side.recipe_id}" if side.recipe_id else _NAMED


class _OneCup(forms.RadioSelect):
    """Radio buttons of a field that may take several: where one cup is right, one is chosen."""

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        value = super().value_from_datadict(data, files, name)
        return [] if value is None else [value]


class AnswerForm(forms.Form):
    """Which cups a taster points at, read from codes ticked or typed."""

    guest = forms.CharField(
        label="Who tastes",
        required=False,
        max_length=60,
        help_text="May stay empty.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    picked = forms.TypedMultipleChoiceField(
        label="Cup",
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose the cup that the taster points at."},
    )
    remark = forms.CharField(
        required=False,
        max_length=200,
        help_text="May stay empty.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    key = forms.CharField(widget=forms.HiddenInput, max_length=64)

    def __init__(self, *args: Any, codes: list[str], cups: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.cups = cups
        picked = cast(Any, self.fields["picked"])
        if cups == 1:
            picked.widget = _OneCup()
        picked.choices = [(str(place), code) for place, code in enumerate(codes)]

    def clean_picked(self) -> list[int]:
        picked: list[int] = self.cleaned_data["picked"]
        if len(picked) != self.cups:
            word = "two cups that taste alike" if self.cups == 2 else "one cup"
            raise ValidationError(f"Choose {word}.")
        return picked


class MoreTraysForm(forms.Form):
    trays = NumberField(label="Further trays", low=1, high=MOST_TRAYS, places=0, initial=6)


class ReasonForm(forms.Form):
    reason = forms.CharField(max_length=200, help_text="It stays in the history.", strip=True)
