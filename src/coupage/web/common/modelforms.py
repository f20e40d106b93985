"""Form classes that may name their model for the type checker: ``class LotForm(ModelForm[Lot])``.

Django's own take no subscript while the program runs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms

__all__ = ["ModelChoiceField", "ModelForm", "ModelMultipleChoiceField"]

if TYPE_CHECKING:
    from django.forms import ModelChoiceField, ModelForm, ModelMultipleChoiceField
else:

    class ModelForm(forms.ModelForm):
        def __class_getitem__(cls, _model: Any) -> type[ModelForm]:
            return cls

    class ModelChoiceField(forms.ModelChoiceField):
        def __class_getitem__(cls, _model: Any) -> type[ModelChoiceField]:
            return cls

    class ModelMultipleChoiceField(forms.ModelMultipleChoiceField):
        def __class_getitem__(cls, _model: Any) -> type[ModelMultipleChoiceField]:
            return cls
