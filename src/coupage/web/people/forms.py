"""Forms about people and the roastery; amounts turn into stored units here."""

from __future__ import annotations

import zoneinfo
from typing import Any

from django import forms
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from coupage.web.common.fields import MassField, NumberField
from coupage.web.common.modelforms import ModelForm
from coupage.web.people.models import MassUnit, Person, Roastery, Role

__all__ = ["PersonForm", "RoasteryForm", "SetUpForm", "ShowForm", "SignInForm"]


def _zone(name: str) -> None:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        raise ValidationError(
            f"{name!r} is not a time zone; write it like Europe/Lisbon or UTC"
        ) from None


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "That sign-in name and password do not belong together. "
        "Check both; capital letters matter in the password.",
        "inactive": "This account may not sign in any more. Ask the owner of the roastery.",
    }

    def __init__(self, request: HttpRequest | None = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(request, *args, **kwargs)
        self.fields["username"].widget.attrs.update(autofocus=True, autocapitalize="none")

    def clean_username(self) -> str:
        return str(self.cleaned_data["username"]).strip().lower()


class _NewPassword(forms.Form):
    """A password typed twice and held to the rules."""

    password = forms.CharField(
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 10 characters; not a common one, not only digits.",
    )
    again = forms.CharField(
        label="Password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def check_password(self, person: Person) -> None:
        password = self.cleaned_data.get("password")
        again = self.cleaned_data.get("again")
        if not password or not again:
            return
        if password != again:
            self.add_error("again", "The two passwords differ; type the same one twice.")
            return
        try:
            password_validation.validate_password(password, person)
        except ValidationError as problem:
            self.add_error("password", problem)


class SetUpForm(_NewPassword):
    """The first page of a new installation: the roastery and its owner."""

    roastery_name = forms.CharField(label="Name of the roastery", max_length=80)
    currency = forms.CharField(
        max_length=3, initial="EUR", help_text="Three letters of ISO 4217, like EUR or USD."
    )
    time_zone = forms.CharField(
        initial="UTC", max_length=40, help_text="Like Europe/Lisbon.", validators=[_zone]
    )
    name = forms.CharField(label="Your name", max_length=80)
    sign_in = forms.CharField(label="Sign-in name", max_length=80)
    field_order = (
        "roastery_name",
        "currency",
        "time_zone",
        "name",
        "sign_in",
        "password",
        "again",
    )

    def clean_currency(self) -> str:
        return str(self.cleaned_data["currency"]).upper()

    def clean(self) -> None:
        super().clean()
        self.person = Person(
            sign_in=str(self.cleaned_data.get("sign_in", "")).strip().lower(),
            name=self.cleaned_data.get("name", ""),
            role=Role.OWNER,
        )
        self.check_password(self.person)
        self.person.set_password(self.cleaned_data.get("password"))
        for thing in (
            self.person,
            Roastery(
                name=self.cleaned_data.get("roastery_name", "x"),
                currency=self.cleaned_data.get("currency", "EUR"),
            ),
        ):
            try:
                thing.full_clean()
            except ValidationError as problem:
                for field, messages in problem.error_dict.items():
                    own = (
                        "roastery_name"
                        if isinstance(thing, Roastery) and field == "name"
                        else field
                    )
                    if own in self.fields and own not in self.errors:
                        self.add_error(own, messages)


class PersonForm(ModelForm[Person]):
    """Change a person; a new one also gets a password."""

    class Meta:
        model = Person
        fields = ["name", "role", "is_active"]
        help_texts = {
            "role": "Owner: everything. Roaster: all of the work. Taster: own tables only. "
            "Viewer: reads everything, changes nothing."
        }


class NewPersonForm(_NewPassword, ModelForm[Person]):
    class Meta:
        model = Person
        fields = ["name", "sign_in", "role"]

    field_order = ("name", "sign_in", "role", "password", "again")

    def clean_sign_in(self) -> str:
        return str(self.cleaned_data["sign_in"]).strip().lower()

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        said = {name: self.cleaned_data.get(name, "") for name in ("sign_in", "name")}
        self.check_password(Person(**said))
        return cleaned

    def save(self, commit: bool = True) -> Person:
        person: Person = super().save(commit=False)
        person.set_password(self.cleaned_data["password"])
        if commit:
            person.save()
        return person


class PasswordForm(_NewPassword):
    """Change one's own password, knowing the old one."""

    old = forms.CharField(
        label="Password until now",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    field_order = ("old", "password", "again")

    def __init__(self, person: Person, *args: Any, **kwargs: Any) -> None:
        self.person = person
        super().__init__(*args, **kwargs)

    def clean_old(self) -> str:
        old = str(self.cleaned_data["old"])
        if not self.person.check_password(old):
            raise ValidationError("That is not your password until now.")
        return old

    def clean(self) -> None:
        super().clean()
        self.check_password(self.person)


class ShowForm(forms.Form):
    """How the program shows masses and times to one person."""

    mass_unit = forms.ChoiceField(label="Show masses in", choices=MassUnit.choices)
    time_zone = forms.CharField(
        required=False,
        max_length=40,
        help_text="Like Europe/Lisbon; empty means the roastery's.",
    )

    def clean_time_zone(self) -> str:
        name = str(self.cleaned_data["time_zone"]).strip()
        if name:
            _zone(name)
        return name


class RoasteryForm(forms.Form):
    """Settings that all people share."""

    name = forms.CharField(max_length=80)
    currency = forms.RegexField(
        r"^[A-Z]{3}$",
        error_messages={"invalid": "Use the three letters of ISO 4217, like EUR."},
        help_text="A label for all prices; changing it converts nothing.",
    )
    time_zone = forms.CharField(max_length=40, validators=[_zone])
    verdict_chance = NumberField(
        label="Chance that settles a verdict",
        low=0.5,
        high=0.999,
        places=3,
        help_text="Two samples are called the same, or different, once the chance is this high; "
        "below it the answer is: not enough cups.",
    )
    low_stock_g = MassField(label="A lot runs low below", low=0, unit="kg")
