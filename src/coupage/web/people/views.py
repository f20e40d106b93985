"""Signing in and out, own settings, people and the roastery: one domain call each."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth import views as auth_views
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from coupage.errors import InputError
from coupage.web.common.feedback import done, sentence
from coupage.web.common.requests import Request
from coupage.web.people import actions, forms, history, queries
from coupage.web.people.access import anyone, needs
from coupage.web.people.models import Person

__all__ = ["add", "change", "index", "me", "password", "set_up", "settings", "sign_in", "sign_out"]


class _SignIn(auth_views.LoginView):
    template_name = "people/sign_in.html"
    authentication_form = forms.SignInForm
    redirect_authenticated_user = True
    http_method_names = ["get", "head", "post"]

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if queries.is_new():
            return redirect("people:set-up")
        return super().get(request, *args, **kwargs)


sign_in = anyone(_SignIn.as_view())
sign_out = anyone(auth_views.LogoutView.as_view())


@anyone
@require_http_methods(["GET", "POST"])
def set_up(request: HttpRequest) -> HttpResponse:
    """Name the roastery and its owner, on a new installation only."""
    if not queries.is_new():
        return redirect("people:sign-in")
    form = forms.SetUpForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        actions.set_up_roastery(
            roastery_name=values["roastery_name"],
            time_zone=values["time_zone"],
            currency=values["currency"],
            owner=form.person,
            at=timezone.now(),
        )
        login(request, form.person)
        return redirect("today")
    return render(request, "people/set_up.html", {"form": form})


@needs("join")
@require_http_methods(["GET", "POST"])
def me(request: Request) -> HttpResponse:
    """Show and change how masses and times are shown to oneself."""
    person = request.user
    kept = {"mass_unit": person.mass_unit, "time_zone": person.time_zone}
    form = forms.ShowForm(request.POST or None, initial=kept)
    if request.method == "POST" and form.is_valid():
        actions.change_show(person=person, **form.cleaned_data)
        done(request, "Saved.")
        return redirect("people:me")
    return render(request, "people/me.html", {"form": form})


@needs("join")
@require_http_methods(["GET", "POST"])
def password(request: Request) -> HttpResponse:
    """Change one's own password; other devices are signed out."""
    form = forms.PasswordForm(request.user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        actions.change_password(
            person=request.user, password=form.cleaned_data["password"], at=timezone.now()
        )
        update_session_auth_hash(request, request.user)
        done(request, "Your password is changed. Other devices are signed out.")
        return redirect("people:me")
    return render(request, "people/password.html", {"form": form})


@needs("steer")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the people."""
    return render(request, "people/index.html", {"people": queries.people()})


@needs("steer")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Add a person with a first password."""
    form = forms.NewPersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        person = actions.add_person(
            person=form.save(commit=False), by=request.user, at=timezone.now()
        )
        done(request, f"{person.name} can sign in as {person.sign_in}.")
        return redirect("people:index")
    return render(request, "people/add.html", {"form": form})


@needs("steer")
@require_http_methods(["GET", "POST"])
def change(request: Request, pk: int) -> HttpResponse:
    """Change a person's name, role, or whether they may sign in."""
    person = get_object_or_404(Person, pk=pk)
    form = forms.PersonForm(request.POST or None, instance=person)
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_person(
                person=person, by=request.user, at=timezone.now(), **form.cleaned_data
            )
        except InputError as problem:
            form.add_error("role", sentence(problem))
        else:
            done(request, f"{person.name} is changed.")
            return redirect("people:index")
    page = {"form": form, "person": Person.objects.get(pk=pk), "changes": history.of(person)}
    return render(request, "people/change.html", page)


@needs("steer")
@require_http_methods(["GET", "POST"])
def settings(request: Request) -> HttpResponse:
    """Change the settings that all people share."""
    roastery = queries.roastery()
    fields = ("name", "currency", "time_zone", "verdict_chance", "low_stock_g")
    kept = {name: getattr(roastery, name) for name in fields}
    form = forms.RoasteryForm(request.POST or None, initial=kept)
    if request.method == "POST" and form.is_valid():
        actions.change_roastery(by=request.user, at=timezone.now(), **form.cleaned_data)
        done(request, "Saved.")
        return redirect("people:settings")
    return render(request, "people/settings.html", {"form": form})
