"""Rows of components and shares in a form: each component once, 100 % together."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError

from coupage.units import PPM, show_share
from coupage.web.common.fields import PercentField

__all__ = ["ShareFormSet", "ShareRow"]


class ShareRow(forms.Form):
    """One component and its share. A form of an app adds the field ``component`` and its noun."""

    noun: ClassVar[str] = "component"
    share = PercentField(label="Share", required=False)

    def clean(self) -> None:
        super().clean()
        component, share = self.cleaned_data.get("component"), self.cleaned_data.get("share")
        if component is None and share and "component" not in self.errors:
            self.add_error("component", f"Choose the {self.noun} that has this share.")
        if component is not None and not share and "share" not in self.errors:
            self.add_error("share", "Give its share, above 0 %; or empty the row.")


class ShareFormSet(forms.BaseFormSet):  # type: ignore[type-arg]
    """The rows together."""

    def clean(self) -> None:
        if any(self.errors):
            return
        named = [f.cleaned_data["component"] for f in self.forms if f.cleaned_data.get("component")]
        if not named:
            noun = getattr(self.form, "noun", ShareRow.noun)
            raise ValidationError(f"Choose at least one {noun} and give its share.")
        twice = {str(one) for one in named if named.count(one) > 1}
        if twice:
            raise ValidationError(f"{', '.join(sorted(twice))} stands here twice; add it up.")
        total = sum(self.shares().values())
        if total != PPM:
            off = f"{show_share(abs(PPM - total), 4).removesuffix(' %').rstrip('0').rstrip('.')} %"
            raise ValidationError(
                f"The shares must add up to 100 %; {off} "
                f"{'are missing' if total < PPM else 'are too much'}."
            )

    def shares(self) -> dict[Any, int]:
        """Return the shares in parts per million, in the order typed."""
        return {
            form.cleaned_data["component"]: form.cleaned_data["share"]
            for form in self.forms
            if form.cleaned_data.get("component") and form.cleaned_data.get("share")
        }
