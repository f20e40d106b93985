"""Are batches of one coffee the same, which stands out, and are the cups of each alike?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.http import Http404

from coupage.difference import Equivalence
from coupage.panel import Beliefs, Comparison, Uniformity, uniformity
from coupage.web.batches.models import Batch
from coupage.web.coffees.models import Approach
from coupage.web.common.charts import ProfileChart, ProfileRow
from coupage.web.common.drawing import Doubt
from coupage.web.common.requests import Request
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.models import Attribute, Cupping
from coupage.web.cuppings.pages.said import chance_text, joined, signed
from coupage.web.keeping.tasting import CupsOf, classical, cups_alike

__all__ = ["UniformPage", "uniform_page"]

MOST = 12
RISK = 0.05
MANY = 100


@dataclass(frozen=True, slots=True)
class Choice:
    batch: Batch
    chosen: bool
    tasted: bool


@dataclass(frozen=True, slots=True)
class PairRow:
    a: str
    b: str
    verdict: str
    chance: str
    deciding: str
    further: str


@dataclass(frozen=True, slots=True)
class AttributeRow:
    """One attribute of a pair: the model's answer, and the classical one beside it."""

    attribute: str
    difference: str
    interval: str
    tolerance: str
    chance: str
    verdict: str
    classical: str
    classical_interval: str


@dataclass(frozen=True, slots=True)
class OtherRow:
    """One batch against the mean of the others, in the attribute that sets it apart most."""

    batch: Batch
    attribute: str
    difference: str
    interval: str
    chance: str
    stands_out: bool


@dataclass(frozen=True, slots=True)
class CupsRow:
    sample: str
    table: Cupping
    cups: int
    attribute: str
    said: str
    p: str
    alike: bool


@dataclass(frozen=True, slots=True)
class UniformPage:
    approaches: tuple[Approach, ...]
    approach: Approach | None
    choices: tuple[Choice, ...]
    chosen: tuple[Batch, ...]
    verdict: str
    sentence: str
    detail: str
    note: str
    picture: ProfileChart | None
    attributes: tuple[AttributeRow, ...]
    pairs: tuple[PairRow, ...]
    others: tuple[OtherRow, ...]
    cups: tuple[CupsRow, ...]
    needed: str
    classical_agrees: str


def uniform_page(request: Request) -> UniformPage:
    """Return the choice of batches and, once two are chosen, how they compare."""
    beliefs = beliefs_now()
    approaches = tuple(
        Approach.objects.filter(archived=False, versions__batches__void=False)
        .select_related("lot")
        .distinct()
    )
    approach = _asked_approach(request, approaches)
    tasted = set(beliefs.batches) if beliefs else set()
    keys = {int(k) for k in request.GET.getlist("batch") if k.isascii() and k.isdigit()}
    keys = {k for k in keys if k < 2**63}
    offered = (
        list(
            Batch.objects.filter(approach_version__approach=approach, void=False)
            .select_related("approach_version__approach__lot")
            .order_by("-roasted_at", "-id")[:60]
        )
        if approach
        else []
    )
    choices = tuple(Choice(b, b.pk in keys, b.number in tasted) for b in offered)
    chosen = tuple(c.batch for c in choices if c.chosen and c.tasted)[:MOST]
    if beliefs is None or len(chosen) < 2:
        return _empty(approaches, approach, choices, chosen, _why_not(beliefs, choices, chosen))
    return _compared(beliefs, approaches, approach, choices, tuple(reversed(chosen)))


def _asked_approach(request: Request, approaches: tuple[Approach, ...]) -> Approach | None:
    asked = request.GET.get("approach", "")
    if not asked:
        return None
    found = [a for a in approaches if str(a.pk) == asked]
    if not found:
        raise Http404("There is no such approach, or nothing was roasted by it.")
    return found[0]


def _why_not(
    beliefs: Beliefs | None, choices: tuple[Choice, ...], chosen: tuple[Batch, ...]
) -> str:
    if beliefs is None:
        return "Nothing was tasted yet: reveal a table first."
    if not choices:
        return "Choose a coffee and approach."
    if sum(c.tasted for c in choices) < 2:
        return "Fewer than two of these batches were tasted on a revealed table."
    if not chosen:
        return "Tick two or more batches."
    return "Tick one more batch."


def _empty(
    approaches: tuple[Approach, ...],
    approach: Approach | None,
    choices: tuple[Choice, ...],
    chosen: tuple[Batch, ...],
    why: str,
) -> UniformPage:
    return UniformPage(
        approaches, approach, choices, chosen, "", why, "", "", None, (), (), (), (), "", ""
    )


def _compared(
    beliefs: Beliefs,
    approaches: tuple[Approach, ...],
    approach: Approach | None,
    choices: tuple[Choice, ...],
    chosen: tuple[Batch, ...],
) -> UniformPage:
    tolerances = {
        a.name: float(a.tolerance)
        for a in Attribute.objects.filter(kind="intensity")
        if a.name in beliefs.attributes
    }
    names = [batch.number for batch in chosen]
    found = uniformity(beliefs, names, tolerances)
    first = next(iter(found.pairs))
    tests = classical(chosen[0], chosen[1], tolerances, RISK) if len(chosen) == 2 else {}
    return UniformPage(
        approaches=approaches,
        approach=approach,
        choices=choices,
        chosen=chosen,
        verdict=found.verdict,
        sentence=_sentence(found, chosen),
        detail=_detail(found),
        note=_missing(found),
        picture=_picture(found.pairs[first], tolerances) if len(chosen) == 2 else None,
        attributes=_attributes(found.pairs[first], tests) if len(chosen) == 2 else (),
        pairs=_pairs(found) if len(chosen) > 2 else (),
        others=_others(found, chosen) if len(chosen) > 2 else (),
        cups=tuple(_cups(one) for one in _telling(cups_alike(chosen))),
        needed=chance_text(found.needed),
        classical_agrees=_agreement(tests),
    )


def _sentence(found: Uniformity, chosen: tuple[Batch, ...]) -> str:
    names = [batch.number for batch in chosen]
    if found.verdict == "same":
        return f"Batches {joined(names)} taste the same within tolerance."
    if found.verdict == "different":
        name, attribute, side = found.stands_out[0]
        more = "more" if side == "higher" else "less"
        if len(names) == 2:
            return f"Batches {joined(names)} differ: {name} has {more} {attribute}."
        out = [row[0] for row in found.stands_out]
        stand = "stands" if len(out) == 1 else "stand"
        return f"Batch {joined(out)} {stand} out: {name} has {more} {attribute} than the others."
    return f"The cups cannot tell yet whether {joined(names)} are the same."


def _detail(found: Uniformity) -> str:
    whole = "all attributes together" if len(found.chance_within) > 1 else "it"
    return f"The chance that they are the same in {whole} is {chance_text(found.chance_same)}."


def _missing(found: Uniformity) -> str:
    if found.verdict != "not enough cups":
        return ""
    if found.further_cups is None:
        return "No number of cups would settle it: the difference lies just at the tolerance."
    if found.further_cups > MANY:
        return (
            f"More than {MANY} further cups of each would be needed; widen the tolerance, or ask "
            "whether anybody tells them apart by a triangle test."
        )
    cups = f"{found.further_cups} further cup{'s' if found.further_cups != 1 else ''}"
    if found.chance_same >= 0.9:
        return f"Likely, but the cups must show it themselves: about {cups} of each would."
    return f"About {cups} of each, one taster's rating a cup, would settle it four times in five."


def _picture(pair: Mapping[str, Comparison], tolerances: dict[str, float]) -> ProfileChart:
    rows, reach = [], 1.0
    for attribute, c in pair.items():
        half = 0.6744897501960817 * c.sd
        doubt = Doubt(
            c.difference,
            max(c.low90, c.difference - half),
            min(c.high90, c.difference + half),
            c.low90,
            c.high90,
        )
        limit = tolerances[attribute]
        reach = max(reach, abs(c.low90), abs(c.high90), limit)
        rows.append(ProfileRow(attribute, (doubt,), wanted=(-limit, limit), verdict=c.verdict))
    return ProfileChart(
        rows, ("difference",), "Difference in points; bracket: called the same", -reach, reach
    )


def _attributes(
    pair: Mapping[str, Comparison], tests: dict[str, Equivalence | str]
) -> tuple[AttributeRow, ...]:
    rows = []
    for attribute, c in pair.items():
        test = tests[attribute]
        if isinstance(test, Equivalence):
            beyond = max(test.interval_low, -test.interval_high) > test.high
            said = "same" if test.equivalent else "different" if beyond else "open"
            interval = f"{signed(test.interval_low)} to {signed(test.interval_high)}"
            said = f"{said} (p {test.p:.3f})"
        else:
            said, interval = test, "–"
        rows.append(
            AttributeRow(
                attribute,
                signed(c.difference),
                f"{signed(c.low90)} to {signed(c.high90)}",
                f"{c.tolerance:g}",
                chance_text(c.chance_same),
                c.verdict,
                said,
                interval,
            )
        )
    return tuple(rows)


def _agreement(tests: dict[str, Equivalence | str]) -> str:
    """Say in a sentence what the classical test finds."""
    known = {a: t for a, t in tests.items() if isinstance(t, Equivalence)}
    if not known:
        return ""
    same = [a for a, t in known.items() if t.equivalent]
    if len(same) == len(tests):
        return "Two one-sided tests find all attributes the same."
    if not same:
        return "Two one-sided tests prove no attribute the same."
    return f"Two one-sided tests find {joined(same)} the same, the others open."


def _pairs(found: Uniformity) -> tuple[PairRow, ...]:
    rows = []
    for (a, b), joint in found.joint.items():
        further = joint.further_cups
        said = "–" if joint.verdict != "not enough cups" else "no number" if further is None else ""
        said = said or (f"over {MANY}" if (further or 0) > MANY else str(further))
        rows.append(
            PairRow(a, b, joint.verdict, chance_text(joint.chance_same), joint.deciding, said)
        )
    return tuple(rows)


def _others(found: Uniformity, chosen: tuple[Batch, ...]) -> tuple[OtherRow, ...]:
    out = {name for name, _, _ in found.stands_out}
    rows = []
    for batch in chosen:
        answers = found.from_others[batch.number]
        attribute, c = max(
            answers.items(), key=lambda item: max(item[1].chance_higher, item[1].chance_lower)
        )
        rows.append(
            OtherRow(
                batch,
                attribute,
                signed(c.difference),
                f"{signed(c.low90)} to {signed(c.high90)}",
                chance_text(max(c.chance_higher, c.chance_lower)),
                batch.number in out,
            )
        )
    return tuple(rows)


def _telling(found: list[CupsOf]) -> list[CupsOf]:
    """Of each sample on a table, the attribute in which its cups differ most."""
    best: dict[tuple[int, int], CupsOf] = {}
    for one in found:
        key = (one.batch.pk, one.table.pk)
        if key not in best or one.result.p < best[key].result.p:
            best[key] = one
    return list(best.values())


def _cups(one: CupsOf) -> CupsRow:
    alike = one.p_held > RISK
    furthest = one.result.furthest
    away = signed(float(one.result.deviations[furthest]))
    said = "alike" if alike else f"cup {one.codes[furthest]} stands apart: {away} {one.attribute}"
    p = "under 0.001" if one.p_held < 0.001 else f"{one.p_held:.3f}"
    return CupsRow(one.batch.number, one.table, one.result.cups, one.attribute, said, p, alike)
