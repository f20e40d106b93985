"""The card of a recipe, and the words on the bag."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from coupage.web.blends.models import CafeCard, PromiseWord
from coupage.web.common.fields import ClockField, NumberField
from coupage.web.common.modelforms import ModelChoiceField
from coupage.web.cuppings.models import Attribute

__all__ = ["CardForm", "PromiseForm", "promise_forms", "promised"]

MOST_WORDS, BLANK_WORDS = 8, 2


class CardForm(forms.Form):
    """Dose, drink, time: grams in, milligrams kept."""

    dose = NumberField(label="Dose", unit="g", above=0, high=200, places=2)
    drink = NumberField(
        label="In the cup", unit="g", above=0, high=2000, places=1, help_text="The weighed drink."
    )
    seconds = ClockField(label="Time", help_text="As 27 seconds or 2:30.")
    temperature_c = NumberField(
        label="Water", unit="°C", low=20, high=100, places=1, required=False
    )
    milk = forms.CharField(
        label="With milk",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="How it carries, what to change for it.",
    )
    note = forms.CharField(
        label="Say at the counter", required=False, widget=forms.Textarea(attrs={"rows": 2})
    )

    @staticmethod
    def initial_of(card: CafeCard | None) -> dict[str, Any]:
        """Return what the form begins with for a card."""
        if card is None:
            return {}
        return {
            "dose": Decimal(card.dose_mg) / 1000,
            "drink": Decimal(card.drink_mg) / 1000,
            "seconds": card.seconds,
            "temperature_c": card.temperature_c,
            "milk": card.milk,
            "note": card.note,
        }

    def fill(self, card: CafeCard) -> CafeCard:
        """Write what was typed into a card."""
        values = self.cleaned_data
        card.dose_mg = int(values["dose"] * 1000)
        card.drink_mg = int(values["drink"] * 1000)
        card.seconds = values["seconds"]
        card.temperature_c = values["temperature_c"]
        card.milk, card.note = values["milk"], values["note"]
        return card


class PromiseForm(forms.Form):
    """One word on the bag and what must be believed for it to be true."""

    text = forms.CharField(label="On the bag", max_length=60, required=False)
    attribute = ModelChoiceField[Attribute](
        queryset=Attribute.objects.none(), required=False, label="Backed by", empty_label="choose"
    )
    low = NumberField(label="At least", low=0, high=10, places=2, required=False)
    high = NumberField(label="At most", low=0, high=10, places=2, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["attribute"].queryset = Attribute.objects.all()  # type: ignore[attr-defined]

    def clean(self) -> None:
        super().clean()
        values = self.cleaned_data
        text, attribute = values.get("text"), values.get("attribute")
        low, high = values.get("low"), values.get("high")
        if not text:
            if attribute is not None or low is not None or high is not None:
                self.add_error("text", "Write the word, or empty the row.")
            return
        if attribute is None and "attribute" not in self.errors:
            self.add_error("attribute", "Say which attribute backs it.")
        if low is None and high is None and not {"low", "high"} & set(self.errors):
            self.add_error("low", "Give at least, at most, or both.")
        if low is not None and high is not None and low >= high:
            self.add_error("high", f"must be more than {low:g}")

    def word(self) -> PromiseWord | None:
        """Return the word that was typed, or None."""
        values = self.cleaned_data
        if not values.get("text"):
            return None
        return PromiseWord(
            text=values["text"],
            attribute=values["attribute"],
            low=values["low"],
            high=values["high"],
        )


def promise_forms(words: list[PromiseWord], data: Any = None) -> list[PromiseForm]:
    """Return a row for each word and two blank ones."""
    sent = 0
    while data is not None and f"word-{sent}-text" in data and sent < MOST_WORDS:
        sent += 1
    count = min(len(words) + BLANK_WORDS, MOST_WORDS) if data is None else sent
    fields = ("text", "attribute", "low", "high")
    return [
        PromiseForm(
            data,
            prefix=f"word-{n}",
            initial={name: getattr(words[n], name) for name in fields} if n < len(words) else {},
        )
        for n in range(count)
    ]


def promised(rows: list[PromiseForm]) -> list[PromiseWord]:
    """Return the words that were typed.

    Raises
    ------
    ValidationError
        When a word stands there twice.
    """
    found = [word for row in rows if (word := row.word()) is not None]
    texts = [word.text.casefold() for word in found]
    twice = next((word.text for word in found if texts.count(word.text.casefold()) > 1), None)
    if twice:
        raise ValidationError(f"{twice} stands here twice; once is enough.")
    return found
