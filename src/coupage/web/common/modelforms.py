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
        """Django's; a field that is written out begins at its model's default all the same."""

        def __class_getitem__(cls, _model: Any) -> type[ModelForm]:
            return cls

        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
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
