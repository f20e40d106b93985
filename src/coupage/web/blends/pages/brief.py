"""The list of briefs, and one brief."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.http import Http404

from coupage.errors import InputError
from coupage.units import show_share
from coupage.web.blends import queries
from coupage.web.blends.forms import BriefForm, LimitForm, WantForm, limits_of
from coupage.web.blends.limits import lasting_text, limit_text
from coupage.web.blends.models import Blend, Brief, Want
from coupage.web.blends.pages.parts import chance_said
from coupage.web.blends.serving import Served, room_brief, serve, shares_of, want_text
from coupage.web.common.charts import ProfileChart, ProfileRow
from coupage.web.common.feedback import sentence
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, stale
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.people import history
from coupage.web.people.models import Change

__all__ = [
    "BriefPage",
    "BriefsPage",
    "brief_page",
    "briefs_page",
    "stale_brief",
    "wanted",
    "wanted_of",
]


@dataclass(frozen=True, slots=True)
class BriefsPage:
    briefs: Listing[Brief]


@dataclass(frozen=True, slots=True)
class WantRow:
    text: str
    must: bool
    importance: str


@dataclass(frozen=True, slots=True)
class BlendRow:
    blend: Blend
    recipe: str
    chance: str


@dataclass(frozen=True, slots=True)
class BriefPage:
    brief: Brief
    sentence: str
    problem: str
    wants: tuple[WantRow, ...]
    facts: tuple[tuple[str, str], ...]
    picture: ProfileChart | None
    blends: tuple[BlendRow, ...]
    changes: tuple[Change, ...]


def briefs_page(request: Request) -> BriefsPage:
    briefs = Listing.of(
        request,
        queries.briefs(),
        search=("name", "note"),
        sorts={"name": "name", "service": ("service", "name"), "cost": ("cost_cap", "name")},
        default="name",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("use", "In use", Q(archived=False)),
                    Choice("away", "Put away", Q(archived=True)),
                ),
                default="use",
            ),
        ),
    )
    return BriefsPage(briefs)


def brief_page(pk: int, currency: str) -> BriefPage:
    """Return one brief's page, or 404."""
    brief = queries.briefs().filter(pk=pk).first()
    if brief is None:
        raise Http404("There is no such brief.")
    wants = list(brief.wants.all())
    problem = ""
    try:
        room_brief(brief)
    except InputError as error:
        problem = sentence(error)
    beliefs = beliefs_now()
    blends = list(queries.blends().filter(brief=brief, archived=False))
    recipes = {blend: queries.recipe_in_service(blend) for blend in blends}
    found = {b: serve(brief, beliefs, shares_of(r)) if r else None for b, r in recipes.items()}
    return BriefPage(
        brief=brief,
        sentence=_sentence(brief, wants),
        problem=problem,
        wants=tuple(WantRow(want_text(w), w.must, f"{float(w.importance):g}") for w in wants),
        facts=_facts(brief, currency),
        picture=_picture(wants, found) if wants else None,
        blends=tuple(
            BlendRow(
                blend,
                f"version {recipe.version}" if recipe else "none in service",
                chance_said(found[blend]),
            )
            for blend, recipe in recipes.items()
        ),
        changes=tuple(history.of(brief)[:20]),
    )


def _sentence(brief: Brief, wants: list[Want]) -> str:
    musts = sum(want.must for want in wants)
    served = brief.get_service_display()
    if not wants:
        return f"{brief.name} asks for nothing yet."
    if not musts:
        return (
            f"Served {served}, it wants {len(wants)} things of the taste; since none is a "
            "must-have, a recipe is on brief when all of them hold."
        )
    holds = "its one must-have holds" if musts == 1 else f"all {musts} must-haves hold"
    said = f"Served {served}, a recipe is on brief when {holds}"
    rest = len(wants) - musts
    if not rest:
        return f"{said}."
    more = "one more want orders" if rest == 1 else f"{rest} more wants order"
    return f"{said}; {more} those that are equally sure."


def _facts(brief: Brief, currency: str) -> tuple[tuple[str, str], ...]:
    cap = "none" if brief.cost_cap is None else f"{brief.cost_cap:.2f} {currency}/kg"
    return (
        ("Served", brief.get_service_display()),
        ("Cost cap", cap),
        ("Most coffees", str(brief.max_components)),
        ("Least share", show_share(brief.min_share_ppm)),
        *(("Made of", limit_text(limit)) for limit in brief.limits.all()),
        *((("Green on hand", lasting),) if (lasting := lasting_text(brief)) else ()),
    )


def wanted_of(want: Want) -> tuple[float | None, float | None]:
    """Return the range in which a want's event holds, for a bracket behind a picture."""
    low = None if want.kind == Want.Kind.AT_MOST or want.low is None else float(want.low)
    high = None if want.kind == Want.Kind.AT_LEAST or want.high is None else float(want.high)
    return low, high


def wanted(brief: Brief | None) -> dict[str, tuple[float | None, float | None]]:
    """Return the wanted range of each attribute of a brief."""
    if brief is None:
        return {}
    return {want.attribute.name: wanted_of(want) for want in brief.wants.all()}


def _picture(wants: list[Want], found: dict[Blend, Served | None]) -> ProfileChart:
    """Draw the wants, with what the blends in service taste like where that is believed."""
    drawn = [(blend.name, one.profile) for blend, one in found.items() if one is not None][:3]
    return ProfileChart(
        rows=tuple(
            ProfileRow(
                want.attribute.name,
                tuple(profile.get(want.attribute.name) for _, profile in drawn) or (None,),
                wanted=wanted_of(want),
                note="must-have" if want.must else "",
            )
            for want in wants
        ),
        series=tuple(name for name, _ in drawn) or ("no recipe in service",),
        caption="Wanted ranges, and what is in service",
    )


def stale_brief(
    form: BriefForm,
    rows: list[WantForm],
    limits: list[LimitForm],
    problem: StaleError,
    pk: int,
    currency: str,
) -> dict[str, Any]:
    """Return what a page needs when somebody else saved the brief first."""
    saved = queries.briefs().get(pk=pk)
    page: dict[str, Any] = stale(form, BriefForm(instance=saved, currency=currency), problem, saved)
    kept = {want.attribute_id: want for want in saved.wants.all()}
    for row in rows:
        yours, theirs = _said(row.want()), _said(kept.get(row.attribute.pk))
        if yours != theirs:
            page["differing"].append((row.attribute.name.capitalize(), yours, theirs))
    yours = "; ".join(sorted(limit_text(limit) for limit in limits_of(limits)))
    theirs = "; ".join(sorted(limit_text(limit) for limit in saved.limits.all()))
    if yours != theirs:
        page["differing"].append(("Limits on shares", yours, theirs))
    return page


def _said(want: Want | None) -> str:
    if want is None:
        return "no wish"
    must = ", must-have" if want.must else ""
    return f"{want_text(want)}, importance {float(want.importance):g}{must}"
