"""Fields take what people type, keep it, and say what is wrong beside the box."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.template import engines
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.units import MassUnit
from coupage.web.common.fields import ClockField, MassField, NumberField, PercentField


class Lot(forms.Form):
    name = forms.CharField(help_text="As on the bag.")
    mass = MassField(label="Bought", above=0)
    share = PercentField(required=False)
    heat = forms.IntegerField(required=False, widget=forms.TextInput(attrs={"data-unit": "°C"}))
    served = forms.MultipleChoiceField(
        choices=[("f", "Filter")], widget=forms.CheckboxSelectMultiple, required=False
    )
    agreed = forms.BooleanField(required=False)


@pytest.mark.parametrize(("typed", "grams"), [("14,2", 14200), (" 1 250.5 ", 1250500), ("3", 3000)])
def test_masses_become_whole_grams(typed: str, grams: int) -> None:
    assert MassField().clean(typed) == grams


def test_a_pound_is_453_59237_grams() -> None:
    # NIST Handbook 44 (2024), Appendix C: the avoirdupois pound, exactly.
    assert MassField(unit="lb").clean("1000") == 453592
    assert MassField(unit="lb").prepare_value(453592) == "1000"
    assert MassField(unit="oz").clean("16") == 454


@settings(deadline=None, max_examples=200)
@given(st.integers(0, 10**9), st.sampled_from(["kg", "g", "lb", "oz"]))
def test_grams_shown_and_sent_back_are_the_same_grams(grams: int, unit: MassUnit) -> None:
    field = MassField(low=0, unit=unit)
    assert field.clean(field.prepare_value(grams)) == grams
    assert not field.has_changed(grams, field.prepare_value(grams))


@settings(deadline=None, max_examples=100)
@given(st.integers(0, 10**6))
def test_shares_shown_and_sent_back_are_the_same_shares(ppm: int) -> None:
    field = PercentField()
    assert field.clean(field.prepare_value(ppm)) == ppm


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        (NumberField(low=1, unit="kg"), "0", "at least 1 kg"),
        (NumberField(high=100), "100.1", "at most 100"),
        (NumberField(above=0), "0", "more than 0"),
        (NumberField(places=1), "1.25", "more than 1 digits"),
        (NumberField(), "four", "'four' is not a number"),
        (NumberField(), "nan", "not a finite number"),
        (NumberField(), "1e999999999", "out of all measure"),
        (MassField(), "1e16", "too large"),
        (NumberField(), "1e-999999999", "out of all measure"),
        (NumberField(), "1e-20", "more digits"),
        (PercentField(), "101", "at most 100"),
        (PercentField(), "-1", "at least 0"),
    ],
)
def test_what_is_not_allowed_is_said_with_what_is(
    field: NumberField, typed: str, said: str
) -> None:
    with pytest.raises(ValidationError) as error:
        field.clean(typed)
    assert said in " ".join(error.value.messages)


def test_an_empty_box_is_nothing_where_that_is_allowed() -> None:
    assert NumberField(required=False).clean("") is None
    assert MassField(required=False).clean("") is None
    assert PercentField(required=False).clean("") is None
    assert NumberField(required=False).clean("0") == Decimal(0)


def test_change_is_told_by_value_and_not_by_spelling() -> None:
    assert not MassField().has_changed(14200, "14,20")
    assert MassField().has_changed(14200, "14.3")
    assert MassField().has_changed(14200, "rubbish")
    assert MassField().has_changed(None, "1")
    assert not MassField().has_changed(None, "")


def attributes(html: str, id_: str) -> str:
    found = re.search(rf'<(?:input|select|textarea)[^>]*id="{id_}"[^>]*>', html)
    assert found, html
    return found[0]


def test_a_good_form_has_labels_units_and_help_tied_to_their_boxes() -> None:
    html = str(Lot(initial={"mass": 14200, "share": 350000}))
    assert '<label for="id_name">Name</label>' in html
    assert 'aria-describedby="id_name_helptext"' in attributes(html, "id_name")
    assert 'id="id_name_helptext">As on the bag.' in html
    assert 'value="14.2"' in attributes(html, "id_mass")
    assert 'inputmode="decimal"' in attributes(html, "id_mass")
    assert 'value="35"' in attributes(html, "id_share")
    assert re.findall(r'class="unit"[^>]*>([^<]+)<', html) == ["kg", "%", "°C"]
    assert "aria-invalid" not in html
    assert html.count(">optional<") == 3
    assert "<legend>Served" in html


def test_a_wrong_form_says_so_beside_each_box_and_keeps_what_was_typed() -> None:
    html = str(Lot({"name": "", "mass": "<four>", "share": "140"}))
    name, mass = attributes(html, "id_name"), attributes(html, "id_mass")
    assert 'aria-invalid="true"' in name
    assert 'aria-describedby="id_name_helptext id_name_error"' in name
    assert 'id="id_name_error"' in html
    assert 'value="&lt;four&gt;"' in mass
    assert "<four>" not in html
    assert 'href="#id_mass"' in html  # the summary leads to the box
    assert "at most 100" in html
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_the_unit_of_a_person_is_taken_at_show_and_at_check() -> None:
    form = Lot({"name": "A", "mass": "2"}, initial={"mass": 1000})
    form.fields["mass"].unit = "lb"  # type: ignore[attr-defined]
    assert form.is_valid()
    assert form.cleaned_data["mass"] == 907  # 2 x 453.59237 g
    assert ">lb<" in str(form)


class Piece(forms.Form):
    component = forms.ChoiceField(choices=[("1", "Amber Terrace")])
    share = PercentField()


def test_share_inputs_have_their_rows_a_blank_one_and_a_sum_to_be_shown() -> None:
    pieces = forms.formset_factory(Piece, extra=0, can_delete=True)
    formset = pieces(initial=[{"component": "1", "share": 450_000}], prefix="s")
    template = engines["django"].from_string('{% share_inputs formset legend="Trial" %}')
    html = template.render({"formset": formset})
    assert 'value="45"' in html
    assert 'name="s-TOTAL_FORMS"' in html
    assert "s-__prefix__-share" in html.split("<template")[1]
    assert "data-share-total" in html
    assert 'name="s-0-DELETE"' in html


def test_a_form_box_sends_files_when_it_has_some_and_holds_the_token() -> None:
    class Upload(forms.Form):
        table = forms.FileField()

    template = engines["django"].from_string(
        '{% form_box form submit="Go" cancel="/x/" %}{% endform_box %}'
    )
    html = template.render({"form": Upload(), "csrf_token": "abc"})
    assert 'enctype="multipart/form-data"' in html
    assert 'name="csrfmiddlewaretoken" value="abc"' in html
    assert 'href="/x/"' in html
    assert "data-guard" in html
    assert "enctype" not in template.render({"form": Lot(), "csrf_token": "abc"})


@pytest.mark.parametrize(
    ("kept", "shown"),
    [("7.7500", "7.75"), ("5.20", "5.2"), ("3.0", "3"), ("100", "100"), ("0.900", "0.9")],
)
def test_a_stored_number_is_shown_without_the_zeros_of_its_column(kept: str, shown: str) -> None:
    assert NumberField().prepare_value(Decimal(kept)) == shown


@pytest.mark.parametrize(
    ("typed", "seconds"), [("10:40", 640), ("640", 640), (" 9:05 ", 545), ("0:30", 30)]
)
def test_a_clock_is_read_as_minutes_and_seconds(typed: str, seconds: int) -> None:
    assert ClockField().clean(typed) == seconds
    assert ClockField().clean(ClockField().prepare_value(seconds)) == seconds


@pytest.mark.parametrize("typed", ["10:75", "ten", "-5", "0", "121:00", "1e3", "10:4", "99999"])
def test_what_is_no_time_is_refused(typed: str) -> None:
    with pytest.raises(ValidationError):
        ClockField().clean(typed)
