"""``ModelForm`` that may name its model for the type checker: ``class LotForm(ModelForm[Lot])``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms

__all__ = ["ModelForm"]

if TYPE_CHECKING:
    from django.forms import ModelForm
else:

    class ModelForm(forms.ModelForm):
        """Django's, which takes no subscript while the program runs."""

        def __class_getitem__(cls, _model: Any) -> type[ModelForm]:
            return cls
