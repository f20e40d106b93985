"""Writes about blends and recipes, one transaction each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from django.db import transaction

from coupage.errors import InputError
from coupage.units import PPM
from coupage.web.batches.models import Batch, Verdict
from coupage.web.blends.models import (
    Blend,
    Recipe,
    RecipeSample,
    RecipeShare,
)
from coupage.web.coffees.models import Approach
from coupage.web.common.dates import day_text
from coupage.web.common.revisions import take_revision
from coupage.web.cuppings.models import Part, Sample
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "add_blend",
    "add_recipe",
    "approve_recipe",
    "change_blend",
    "change_recipe",
    "make_sample",
    "put_in_service",
    "retire_recipe",
]

BLEND_FIELDS = ("name", "brief", "weekly_g", "note")
Shares = Mapping[Approach, int]


# --- blends --------------------------------------------------------------------------------------


@transaction.atomic
def add_blend(*, blend: Blend, by: Person, at: dt.datetime) -> Blend:
    """Save a new blend; its recipes come after it."""
    blend.full_clean()
    blend.save()
    history.record(blend, verb="added", by=by, at=at)
    return blend


@transaction.atomic
def change_blend(*, blend: Blend, revision: int, by: Person, at: dt.datetime) -> Blend:
    """Save a blend's changed fields, unless somebody else saved it meanwhile."""
    before = history.snapshot(Blend.objects.get(pk=blend.pk), BLEND_FIELDS)
    take_revision(Blend, blend.pk, revision)
    blend.full_clean()
    blend.save(update_fields=BLEND_FIELDS)
    after = history.snapshot(blend, BLEND_FIELDS)
    history.record(blend, verb="changed", by=by, at=at, before=before, after=after)
    return blend


# --- recipes -------------------------------------------------------------------------------------


@transaction.atomic
def add_recipe(*, blend: Blend, shares: Shares, reason: str, by: Person, at: dt.datetime) -> Recipe:
    """Add a trial recipe to a blend.

    Raises
    ------
    InputError
        When the shares do not add up to 100 %.
    """
    _check_shares(shares)
    # The blend's row is the lock: two new recipes at once get two versions.
    Blend.objects.select_for_update().get(pk=blend.pk)
    newest = blend.recipes.order_by("-version").values_list("version", flat=True).first() or 0
    recipe = Recipe.objects.create(
        blend=blend, version=newest + 1, reason=reason, made_at=at, made_by=by
    )
    _write_shares(recipe, shares)
    history.record(recipe, verb="wrote", by=by, at=at, after=_shares_now(shares), note=reason)
    return recipe


@transaction.atomic
def change_recipe(
    *,
    recipe: Recipe,
    shares: Shares,
    reason: str,
    revision: int,
    by: Person,
    at: dt.datetime,
) -> Recipe:
    """Change a trial recipe, unless somebody else saved it meanwhile.

    Raises
    ------
    StaleError
        When the recipe's revision is no longer ``revision``.
    InputError
        When the recipe is past its trial, or the shares do not add up to 100 %.
    """
    _check_shares(shares)
    take_revision(Recipe, recipe.pk, revision)
    recipe.refresh_from_db()
    if recipe.state != Recipe.State.TRIAL:
        raise InputError(
            f"{recipe} is {recipe.state} and stays what it is; write a new version instead"
        )
    before = _shares_now(
        {s.approach: s.share_ppm for s in recipe.shares.select_related("approach")}
    )
    Recipe.objects.filter(pk=recipe.pk).update(sealed=False, reason=reason)
    recipe.shares.all().delete()
    _write_shares(recipe, shares)
    after = _shares_now(shares)
    history.record(recipe, verb="changed", by=by, at=at, before=before, after=after, note=reason)
    return recipe


def _check_shares(shares: Shares) -> None:
    total = sum(shares.values())
    if not shares or any(share <= 0 for share in shares.values()):
        raise InputError("a recipe needs at least one coffee, each with a share above 0 %")
    if total != PPM:
        raise InputError(f"the shares add up to {total / 10_000:g} %; they must add up to 100 %")


def _write_shares(recipe: Recipe, shares: Shares) -> None:
    RecipeShare.objects.bulk_create(
        RecipeShare(recipe=recipe, approach=approach, share_ppm=share)
        for approach, share in shares.items()
    )
    Recipe.objects.filter(pk=recipe.pk).update(sealed=True)
    recipe.refresh_from_db()


def _shares_now(shares: Shares) -> dict[str, object]:
    return {
        "shares": {str(approach): f"{share / 10_000:g} %" for approach, share in shares.items()}
    }


@transaction.atomic
def approve_recipe(*, recipe: Recipe, reason: str, by: Person, at: dt.datetime) -> Recipe:
    """Approve a trial recipe; from now on it stays what it is."""
    recipe = Recipe.objects.select_for_update().get(pk=recipe.pk)
    if recipe.state != Recipe.State.TRIAL:
        raise InputError(f"{recipe} is {recipe.state} already; only a trial can be approved")
    if not reason:
        raise InputError("say on what ground it is approved; whoever asks later will want to know")
    recipe.state = Recipe.State.APPROVED
    recipe.approved_by, recipe.approved_at = by, at
    recipe.save(update_fields=["state", "approved_by", "approved_at"])
    history.record(recipe, verb="approved", by=by, at=at, note=reason)
    return recipe


@transaction.atomic
def put_in_service(
    *, recipe: Recipe, on: dt.date, reason: str, by: Person, at: dt.datetime
) -> Recipe:
    """Make a blend by this recipe from a date on; the one in service until then is retired."""
    Blend.objects.select_for_update().get(pk=recipe.blend_id)
    recipe = Recipe.objects.select_for_update().get(pk=recipe.pk)
    if recipe.state != Recipe.State.APPROVED:
        raise InputError(f"{recipe} is {recipe.state}; only an approved recipe goes into service")
    for old in Recipe.objects.filter(blend=recipe.blend, state=Recipe.State.IN_SERVICE):
        if old.in_service_from is not None and on < old.in_service_from:
            raise InputError(
                f"{old} went into service on {day_text(old.in_service_from, whole=True)}; "
                "the next recipe cannot begin before it"
            )
        retire_recipe(
            recipe=old, on=on, reason=f"replaced by version {recipe.version}", by=by, at=at
        )
    recipe.state, recipe.in_service_from = Recipe.State.IN_SERVICE, on
    recipe.save(update_fields=["state", "in_service_from"])
    history.record(
        recipe, verb="put into service", by=by, at=at, after={"from": on.isoformat()}, note=reason
    )
    return recipe


@transaction.atomic
def retire_recipe(
    *, recipe: Recipe, on: dt.date, reason: str, by: Person, at: dt.datetime
) -> Recipe:
    """Take a recipe out of use."""
    recipe = Recipe.objects.select_for_update().get(pk=recipe.pk)
    if recipe.state not in {Recipe.State.APPROVED, Recipe.State.IN_SERVICE}:
        raise InputError(f"{recipe} is {recipe.state}; only what was approved can be retired")
    if recipe.in_service_from is not None and on < recipe.in_service_from:
        raise InputError("a recipe cannot be retired before it went into service")
    recipe.state, recipe.retired_on = Recipe.State.RETIRED, on
    recipe.save(update_fields=["state", "retired_on"])
    history.record(recipe, verb="retired", by=by, at=at, after={"on": on.isoformat()}, note=reason)
    return recipe


@transaction.atomic
def make_sample(
    *,
    recipe: Recipe,
    batches: Mapping[Approach, Batch],
    label: str,
    on: dt.date,
    by: Person,
    at: dt.datetime,
) -> Sample:
    """Make a sample for the table by a recipe, from one batch of each of its coffees.

    Raises
    ------
    InputError
        When a coffee has no batch, or its batch is on hold.
    """
    shares = list(recipe.shares.select_related("approach__lot"))
    for share in shares:
        batch = batches.get(share.approach)
        if batch is None:
            raise InputError(
                f"there is no batch of {share.approach} to weigh from; roast one first"
            )
        if batch.verdict == Verdict.HOLD or batch.void:
            raise InputError(f"{batch} is on hold or void; choose another batch")
    kind = Sample.Kind.BATCH if len(shares) == 1 else Sample.Kind.TRIAL
    sample = Sample(label=label, kind=kind, made_on=on)
    sample.full_clean()
    sample.save()
    Part.objects.bulk_create(
        Part(sample=sample, batch=batches[share.approach], share_ppm=share.share_ppm)
        for share in shares
    )
    Sample.objects.filter(pk=sample.pk).update(sealed=True)
    RecipeSample.objects.create(recipe=recipe, sample=sample)
    history.record(sample, verb=f"made by {recipe}", by=by, at=at)
    return sample
