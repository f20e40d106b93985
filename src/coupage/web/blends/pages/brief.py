"""The list of briefs, and one brief."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q
from django.http import Http404
from django.urls import reverse

from coupage.errors import InputError
from coupage.units import show_share
from coupage.web.blends import queries
from coupage.web.blends.models import Blend, Brief, Want
from coupage.web.blends.serving import room_brief, serve, shares_of, want_text
from coupage.web.common.charts import ProfileChart, ProfileRow
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.people import history
from coupage.web.people.models import Change

__all__ = ["BriefPage", "BriefsPage", "brief_page", "briefs_page", "wanted", "wanted_of"]


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
    put_away: str
    take_out: str
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
        problem = f"{error}."
    blends = _blend_rows(brief)
    away = reverse("blends:archive-brief", args=[pk])
    return BriefPage(
        brief=brief,
        sentence=_sentence(brief, wants),
        problem=problem,
        wants=tuple(WantRow(want_text(w), w.must, f"{w.importance:g}") for w in wants),
        facts=_facts(brief, currency),
        picture=_picture(brief, wants, blends),
        blends=blends,
        put_away=away,
        take_out=f"{away}?back",
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
    things = "one must-have" if musts == 1 else f"{musts} must-haves"
    return f"Served {served}, a recipe is on brief when {things} of {len(wants)} wants hold."


def _facts(brief: Brief, currency: str) -> tuple[tuple[str, str], ...]:
    cap = "none" if brief.cost_cap is None else f"{brief.cost_cap:.2f} {currency}/kg"
    return (
        ("Served", brief.get_service_display()),
        ("Cost cap", cap),
        ("Most coffees", str(brief.max_components)),
        ("Least share", show_share(brief.min_share_ppm)),
        ("Note", brief.note or "–"),
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


def _blend_rows(brief: Brief) -> tuple[BlendRow, ...]:
    beliefs = beliefs_now()
    rows = []
    for blend in queries.blends().filter(brief=brief, archived=False):
        recipe = queries.recipe_in_service(blend)
        served = serve(brief, beliefs, shares_of(recipe)) if recipe else None
        rows.append(
            BlendRow(
                blend,
                f"version {recipe.version}" if recipe else "none in service",
                f"{100 * served.chance:.0f} %" if served else "–",
            )
        )
    return tuple(rows)


def _picture(brief: Brief, wants: list[Want], blends: tuple[BlendRow, ...]) -> ProfileChart | None:
    """Draw the wants, with what the blends in service taste like where that is believed."""
    if not wants:
        return None
    beliefs = beliefs_now()
    served = []
    for row in blends:
        recipe = queries.recipe_in_service(row.blend)
        found = serve(brief, beliefs, shares_of(recipe)) if recipe else None
        if found is not None:
            served.append((row.blend.name, found.profile))
    served = served[:3]
    return ProfileChart(
        rows=tuple(
            ProfileRow(
                want.attribute.name,
                tuple(profile.get(want.attribute.name) for _, profile in served) or (None,),
                wanted=wanted_of(want),
                note="must-have" if want.must else "",
            )
            for want in wants
        ),
        series=tuple(name for name, _ in served) or ("no recipe in service",),
        caption="Wanted ranges, and what is in service",
    )
