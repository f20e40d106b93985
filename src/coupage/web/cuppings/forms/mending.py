"""Forms that mend a rating."""

from __future__ import annotations

from django import forms

from coupage.web.common.fields import NumberField

__all__ = ["CorrectForm", "WhyForm"]


class WhyForm(forms.Form):
    """Why a rating counts otherwise than it was given."""

    reason = forms.CharField(
        label="Why",
        max_length=200,
        help_text="Such as: asked her, she meant 8. It stays in the history.",
        error_messages={"required": "Say why; it stays in the history beside your name."},
    )


class CorrectForm(WhyForm):
    """The value that counts instead."""

    value = NumberField(label="Counts as", low=0, high=10, places=2)
    field_order = ("value", "reason")
