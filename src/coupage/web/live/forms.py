"""What a stranger types, a code and a name; and what the host writes down of a shot."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from coupage.web.common.fields import NumberField
from coupage.web.live.models import Shot

__all__ = ["CodeForm", "NameForm", "ShotForm"]


class CodeForm(forms.Form):
    """The letters that the host's screen shows."""

    code = forms.CharField(
        label="Code",
        max_length=20,
        help_text="Six letters, on the host's screen. Small letters and hyphens do not matter.",
        widget=forms.TextInput(
            attrs={"autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}
        ),
        error_messages={"required": "Type the six letters that the host's screen shows."},
    )


class NameForm(forms.Form):
    """The name by which the host knows a taster; no more is asked."""

    name = forms.CharField(
        label="Your name",
        max_length=60,
        help_text="As the host will know you. Nothing else is asked, and no account is made.",
        widget=forms.TextInput(attrs={"autocomplete": "given-name", "spellcheck": "false"}),
        error_messages={"required": "Type the name that the host will know you by."},
    )
    once = forms.CharField(widget=forms.HiddenInput, required=False, max_length=32)


class ShotForm(forms.Form):
    """How the drink in one cup was made; all boxes empty means nothing is written down."""

    dose = NumberField(label="Dose", unit="g", above=0, high=100, places=1, required=False)
    drink = NumberField(label="In the cup", unit="g", above=0, high=2000, places=1, required=False)
    seconds = NumberField(label="Time", unit="s", above=0, high=900, places=0, required=False)
    tds = NumberField(label="TDS", unit="%", above=0, high=30, places=2, required=False)
    milk = NumberField(label="Milk", unit="g", low=0, high=1000, places=0, required=False)

    @staticmethod
    def initial_of(shot: Shot | None) -> dict[str, Decimal | int | None]:
        """Return what stands in the boxes for a shot that is written down."""
        if shot is None:
            return {}
        tds = shot.tds_hundredths
        return {
            "dose": Decimal(shot.dose_mg) / 1000,
            "drink": Decimal(shot.drink_mg) / 1000,
            "seconds": shot.seconds,
            "tds": None if tds is None else Decimal(tds) / 100,
            "milk": shot.milk_g,
        }

    def clean(self) -> dict[str, Any]:
        values: dict[str, Any] = super().clean() or {}
        if any(value is not None for value in values.values()):
            for name in ("dose", "drink"):
                if values.get(name) is None and name not in self.errors:
                    self.add_error(name, "Give this too, or leave the whole row empty.")
        return values

    def shot(self) -> Shot | None:
        """Return what was typed as a row, or None when nothing was."""
        values = self.cleaned_data
        if values.get("dose") is None or values.get("drink") is None:
            return None
        tds, seconds, milk = values["tds"], values["seconds"], values["milk"]
        return Shot(
            dose_mg=int(values["dose"] * 1000),
            drink_mg=int(values["drink"] * 1000),
            seconds=None if seconds is None else int(seconds),
            tds_hundredths=None if tds is None else int(tds * 100),
            milk_g=None if milk is None else int(milk),
        )
