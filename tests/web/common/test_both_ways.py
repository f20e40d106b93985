"""Deeds that can be taken back, errors as sentences, and two versions side by side."""

from __future__ import annotations

import datetime as dt

import pytest
from django import forms
from django.test import Client

from coupage.errors import InputError
from coupage.web.coffees.models import Lot
from coupage.web.common.feedback import sentence
from coupage.web.common.fields import MassField, NumberField
from coupage.web.common.modelforms import ModelForm
from coupage.web.common.revisions import differing
from coupage.web.people.archive import archive
from coupage.web.people.models import Change, Person
from tests.web import things


def test_an_error_becomes_a_sentence_and_names_keep_their_capitals() -> None:
    assert sentence(InputError("there is no Low Lantern")) == "There is no Low Lantern."
    assert sentence(InputError("")) == "."


class Sample(forms.Form):
    name = forms.CharField(label="Name")
    kind = forms.ChoiceField(choices=[("w", "washed"), ("n", "natural")], label="Kind")
    mass = MassField(unit="lb", label="Mass")
    price = NumberField(required=False, label="Price")
    on = forms.DateTimeField(
        label="On",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    fresh = forms.BooleanField(required=False, label="Fresh")


def test_only_what_differs_is_shown_and_as_the_form_shows_it() -> None:
    kept = {
        "name": "Ours",
        "kind": "w",
        "mass": 453_592,
        "price": None,
        "on": dt.datetime(2026, 3, 10, 8, 15, tzinfo=dt.UTC),
        "fresh": True,
    }
    same = {"name": "Ours", "kind": "w", "mass": "1000", "on": "2026-03-10T08:15", "fresh": "on"}
    assert differing(Sample(same), Sample(initial=kept)) == []
    typed = {"name": "Mine", "kind": "n", "mass": "999", "price": "7,5", "on": "2026-03-10T08:16"}
    assert differing(Sample(typed), Sample(initial=kept)) == [
        ("Name", "Mine", "Ours"),
        ("Kind", "natural", "washed"),
        ("Mass", "999", "1000"),
        ("Price", "7,5", ""),
        ("On", "2026-03-10T08:16", "2026-03-10T08:15"),
        ("Fresh", "no", "yes"),
    ]


@pytest.mark.django_db
def test_putting_away_is_written_down_once(roaster: Person) -> None:
    lot = things.lot(name="Low Lantern")
    archive(lot, archived=True, by=roaster, at=things.NOW)
    with pytest.raises(InputError, match="Low Lantern is put away already"):
        archive(lot, archived=True, by=roaster, at=things.NOW)
    assert Change.objects.get().verb == "put away"
    archive(lot, archived=False, by=roaster, at=things.NOW)
    with pytest.raises(InputError, match="Low Lantern is in use already"):
        archive(lot, archived=False, by=roaster, at=things.NOW)
    assert not Lot.objects.get().archived


@pytest.mark.django_db
def test_putting_away_changes_nothing_else_that_was_saved_meanwhile(roaster: Person) -> None:
    lot = things.lot(name="Low Lantern")
    Lot.objects.update(name="High Lantern")
    archive(lot, archived=True, by=roaster, at=things.NOW)
    assert Lot.objects.get().name == "High Lantern"


class LotForm(ModelForm[Lot]):
    class Meta:
        model = Lot
        fields = ["origin", "process", "species"]


def test_no_choice_is_a_word() -> None:
    class Form(ModelForm[Change]):
        class Meta:
            model = Change
            fields = ["by", "verb"]

    field = Form().fields["by"]
    assert isinstance(field, forms.ModelChoiceField)
    assert field.empty_label == ("choose" if field.required else "none")
    assert "---------" not in str(LotForm())


@pytest.mark.django_db
@pytest.mark.usefixtures("pages")
def test_the_script_that_sends_once_is_on_every_page(owner: Person) -> None:
    client = Client()
    client.force_login(owner)
    assert "coupage/busy.js" in client.get("/gallery/").text
