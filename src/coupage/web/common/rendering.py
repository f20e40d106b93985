"""How Django forms look here: each field with its label, unit, help and error in one place."""

from __future__ import annotations

from pathlib import Path

import django.forms
from django.forms.renderers import DjangoTemplates as FormTemplates
from django.template.backends.django import DjangoTemplates
from django.utils.functional import cached_property

__all__ = ["FormRenderer"]


class FormRenderer(FormTemplates):
    """Render forms, formsets and fields through ``coupage/forms/``.

    Django's own widget templates stay in use; our templates may use the tags of
    ``templatetags/coupage.py`` without loading them, as everywhere else.
    """

    form_template_name = "coupage/forms/form.html"
    formset_template_name = "coupage/forms/formset.html"
    field_template_name = "coupage/forms/field.html"

    @cached_property
    def engine(self) -> DjangoTemplates:
        return DjangoTemplates(
            {
                "APP_DIRS": True,
                "DIRS": [Path(django.forms.__file__).parent / "templates"],
                "NAME": "coupage-forms",
                "OPTIONS": {"builtins": ["coupage.web.common.templatetags.coupage"]},
            }
        )
