"""What a stranger types: a code, a name."""

from __future__ import annotations

from django import forms

__all__ = ["CodeForm", "NameForm"]


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
