"""Which roast numbers go with which taste, and what roast to try next."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import Http404

from coupage.roast import Association
from coupage.web.coffees.models import Approach
from coupage.web.common.charts import ProfileChart, ProfileRow
from coupage.web.common.requests import Request
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.models import Attribute
from coupage.web.cuppings.pages.said import chance_text, signed
from coupage.web.keeping.learning import Learned, Number, learn

__all__ = ["LearningPage", "learning_page"]


@dataclass(frozen=True, slots=True)
class SlopeRow:
    number: Number
    per_step: str
    step: str
    chance: str
    means: str


@dataclass(frozen=True, slots=True)
class LearningPage:
    attributes: tuple[str, ...]
    attribute: str
    approaches: tuple[Approach, ...]
    approach: Approach | None
    sentence: str
    note: str
    picture: ProfileChart | None
    rows: tuple[SlopeRow, ...]
    left_out: str


def learning_page(request: Request) -> LearningPage:
    beliefs = beliefs_now()
    attributes = tuple(
        a.name
        for a in Attribute.objects.filter(archived=False, kind="intensity")
        if beliefs is not None and a.name in beliefs.attributes
    )
    approaches = tuple(Approach.objects.filter(archived=False).select_related("lot"))
    asked = request.GET.get("approach", "")
    approach = next((a for a in approaches if str(a.pk) == asked), None)
    if asked and approach is None:
        raise Http404("There is no such approach.")
    if beliefs is None or not attributes:
        return LearningPage(
            (),
            "",
            approaches,
            approach,
            "Nothing was tasted yet: reveal a table first.",
            "",
            None,
            (),
            "",
        )
    attribute = request.GET.get("attribute", "")
    attribute = attribute if attribute in attributes else attributes[0]
    learned = learn(beliefs, attribute, approach)
    reach = max((max(abs(a.low90), abs(a.high90)) for a in learned.found), default=1.0)
    picture = ProfileChart(
        [ProfileRow(a.name, (a,)) for a in learned.found],
        ("points",),
        f"Points of {attribute} that go with one usual step of each number, the others held",
        -reach,
        reach,
        2,
    )
    return LearningPage(
        attributes,
        attribute,
        approaches,
        approach,
        _sentence(learned),
        f"From {learned.batches} batches, each held against its sisters." if learned.found else "",
        picture if learned.found else None,
        tuple(_row(a, n) for a, n in zip(learned.found, learned.numbers, strict=True)),
        ", ".join(learned.left_out),
    )


def _sentence(learned: Learned) -> str:
    if not learned.found:
        return learned.why_not
    sure = [a for a in learned.found if a.low90 > 0 or a.high90 < 0]
    if not sure:
        return f"No roast number goes with {learned.attribute} for sure among these batches."
    best = max(sure, key=lambda a: abs(a.mean))
    more = "more" if best.mean > 0 else "less"
    return (
        f"With a higher {best.name} goes {more} {learned.attribute}: {signed(best.mean)} points "
        "for one usual step."
    )


def _row(one: Association, number: Number) -> SlopeRow:
    unit = f" {number.unit}" if number.unit else ""
    places = max(number.places, 1)
    rising = one.chance_positive >= 0.5
    chance = one.chance_positive if rising else 1 - one.chance_positive
    return SlopeRow(
        number,
        f"{one.mean:+.2f} ({one.low90:+.2f} to {one.high90:+.2f})".replace("-", "−"),
        f"{one.step:.{places}f}{unit}",
        chance_text(chance),
        "rises with it" if rising else "falls with it",
    )
