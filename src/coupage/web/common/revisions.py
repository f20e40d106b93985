"""Two people editing one thing: the second is told, and nothing is lost.

A form carries the revision it was opened at. An action takes that revision in the same
transaction as its writes; when somebody else has taken it meanwhile, nothing is written and the
page shows both versions beside each other.
"""

from __future__ import annotations

from typing import Any

from django import forms
from django.db import models
from django.db.models import F
from django.http import HttpRequest

from coupage.errors import InputError
from coupage.web.common.feedback import sentence

__all__ = ["StaleError", "differing", "revision_of", "stale", "take_revision"]


class StaleError(InputError):
    """The thing was changed by somebody else after this form was opened."""


def take_revision(model: type[models.Model], pk: int, revision: int) -> None:
    """Claim the next revision of a row, or raise.

    Call it inside the action's transaction, before the other writes.

    Raises
    ------
    StaleError
        When the row no longer has the revision that the form was opened at.
    """
    manager = model._default_manager
    if not manager.filter(pk=pk, revision=revision).update(revision=F("revision") + 1):
        raise StaleError(
            f"this {model._meta.verbose_name} was changed by somebody else while you were editing; "
            "compare the two versions and save again"
        )


def revision_of(request: HttpRequest) -> int:
    """Return the revision a sent form was opened at; 0, which no row has, when it says none."""
    text = request.POST.get("revision", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


def stale(
    typed: forms.BaseForm, saved: forms.BaseForm, problem: StaleError, thing: Any
) -> dict[str, object]:
    """Return what a page needs when somebody else saved first: both versions, side by side."""
    return {
        "problem": sentence(problem),
        "differing": differing(typed, saved),
        "revision": thing.revision,
    }


def differing(typed: forms.BaseForm, saved: forms.BaseForm) -> list[tuple[str, str, str]]:
    """Return what differs between a sent form and one of the saved thing: label, typed, saved."""
    return [
        (str(typed[name].label), _shown(typed[name]), _shown(saved[name]))
        for name, field in typed.fields.items()
        if field.has_changed(saved[name].initial, typed[name].data)
    ]


def _shown(field: forms.BoundField) -> str:
    """Write a field's value as its box or list shows it."""
    value = field.value()
    if isinstance(field.field, forms.ChoiceField):  # ModelChoiceField is one too
        choices: Any = field.field.choices
        labels = {str(key): str(label) for key, label in choices}
        return labels.get(str(value), "") if value not in (None, "") else ""
    if isinstance(field.field, forms.BooleanField):
        return "yes" if value else "no"
    return str(field.field.widget.format_value(value) or "")
