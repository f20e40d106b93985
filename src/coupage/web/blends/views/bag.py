"""The card for the counter and the promise on the bag."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from coupage.web.blends import actions, queries
from coupage.web.blends.forms.bag import CardForm, promise_forms, promised
from coupage.web.blends.models import CafeCard
from coupage.web.blends.pages.bag import card_sheet, first_card, promise_page
from coupage.web.common.feedback import done
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.people.access import needs

__all__ = ["card", "change_card", "promise"]


@needs("see")
@require_safe
def card(request: Request, pk: int) -> HttpResponse:
    """Show the card of a recipe, one printed page."""
    recipe = get_object_or_404(queries.recipes(), pk=pk)
    return render(request, "blends/card.html", {"sheet": card_sheet(recipe)})


@needs("work")
@require_http_methods(["GET", "POST"])
def change_card(request: Request, pk: int) -> HttpResponse:
    """Write how a recipe is brewed at the counter."""
    recipe = get_object_or_404(queries.recipes(), pk=pk)
    there = CafeCard.objects.filter(recipe=recipe).first()
    begin = there or first_card(recipe)
    form = CardForm(request.POST or None, initial=CardForm.initial_of(begin))
    page: dict[str, Any] = {"recipe": recipe, "form": form, "before": there is None and begin}
    page["revision"] = there.revision if there else 0
    if request.method == "POST" and form.is_valid():
        opened = revision_of(request)
        written = form.fill(there if there and opened else CafeCard(recipe=recipe))
        try:
            actions.write_card(card=written, revision=opened, by=request.user, at=timezone.now())
        except StaleError as problem:
            saved = CafeCard.objects.get(recipe=recipe)
            page |= stale(form, CardForm(initial=CardForm.initial_of(saved)), problem, saved)
        else:
            done(request, f"The card of {recipe} is written.")
            return redirect("blends:card", pk)
    return render(request, "blends/change_card.html", page)


@needs("see")
@require_http_methods(["GET", "POST"])
def promise(request: Request, pk: int) -> HttpResponse:
    """Show what the bag promises and of which recipes it is true; whoever may work changes it."""
    page = promise_page(pk)
    if request.method == "POST":
        return _change_promise(request, pk)
    rows = promise_forms(list(page.blend.promises.all()))
    shown = {"page": page, "rows": rows, "revision": page.blend.revision}
    return render(request, "blends/promise.html", shown)


@needs("work")
def _change_promise(request: Request, pk: int) -> HttpResponse:
    page = promise_page(pk)
    rows = promise_forms(list(page.blend.promises.all()), request.POST)
    shown: dict[str, Any] = {"page": page, "rows": rows, "revision": page.blend.revision}
    checked = [row.is_valid() for row in rows]  # every row, so that every fault shows at once
    if all(checked):
        try:
            actions.write_promises(
                blend=page.blend,
                words=promised(rows),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except (StaleError, ValidationError) as problem:
            text = problem.messages[0] if isinstance(problem, ValidationError) else f"{problem}."
            shown["problem"] = text[:1].upper() + text[1:]
        else:
            done(request, "The promise is kept.")
            return redirect("blends:promise", pk)
    return render(request, "blends/promise.html", shown)
