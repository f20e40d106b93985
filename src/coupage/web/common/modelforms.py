"""Form classes that may name their model for the type checker: ``class LotForm(ModelForm[Lot])``.

Django's own take no subscript while the program runs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.db.models.fields import BLANK_CHOICE_DASH

__all__ = ["ModelChoiceField", "ModelForm", "ModelMultipleChoiceField"]

_DASHES = BLANK_CHOICE_DASH[0][1]

if TYPE_CHECKING:
    from django.forms import ModelChoiceField, ModelForm, ModelMultipleChoiceField
else:

    class ModelForm(forms.ModelForm):
        """Django's, but a written-out field begins at its default, and no choice is a word."""

        def __class_getitem__(cls, _model: Any) -> type[ModelForm]:
            return cls

        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            for field in self.fields.values():
                _say_empty(field)
            defaults = {f.name: f for f in self._meta.model._meta.fields if f.has_default()}
            for name in self.declared_fields.keys() & defaults.keys():
                if self.fields[name].initial is None:
                    self.fields[name].initial = defaults[name].get_default()

    class ModelChoiceField(forms.ModelChoiceField):
        def __class_getitem__(cls, _model: Any) -> type[ModelChoiceField]:
            return cls

    class ModelMultipleChoiceField(forms.ModelMultipleChoiceField):
        def __class_getitem__(cls, _model: Any) -> type[ModelMultipleChoiceField]:
            return cls

    def _say_empty(field: forms.Field) -> None:
        """Put a word where Django offers a row of dashes."""
        word = "choose" if field.required else "none"
        if isinstance(field, forms.ModelChoiceField):
            if field.empty_label == _DASHES:
                field.empty_label = word
        elif isinstance(field, forms.ChoiceField):
            field.choices = [(k, word if (k, v) == ("", _DASHES) else v) for k, v in field.choices]
