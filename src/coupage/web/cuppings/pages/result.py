"""What a revealed table taught: the answer, the pairs, every sample, the words, what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coupage.panel import Belief, Beliefs, Comparison, JudgedPair, JudgedSamples
from coupage.web.common.charts import ProfileChart, ProfileRow
from coupage.web.common.drawing import SHAPES, Doubt
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.columns import sample_name
from coupage.web.cuppings.judging import judge_table
from coupage.web.cuppings.models import Attribute, Cupping
from coupage.web.cuppings.pages.revealed import (
    ResultSample,
    missing_ratings,
    revealed_samples,
)
from coupage.web.cuppings.pages.said import chance_text, joined, settings_text, signed
from coupage.web.cuppings.words import CountedFamily, count_words

__all__ = ["PairRow", "ResultPage", "result_page"]


MANY = 100
"""Further pairs of cups beyond which nobody will taste them all."""


@dataclass(frozen=True, slots=True)
class PairRow:
    a: str
    b: str
    verdict: str
    chance: str
    deciding: str
    further: str
    url: str
    chosen: bool
    sisters: bool


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    attribute: str
    difference: str
    interval: str
    tolerance: str
    chance: str
    verdict: str
    further: str
    liking: bool


@dataclass(frozen=True, slots=True)
class SampleProfiles:
    """All samples side by side in one attribute."""

    attribute: str
    picture: ProfileChart
    ends: str


@dataclass(frozen=True, slots=True)
class ResultPage:
    sentence: str
    verdict: str
    detail: str
    note: str
    problem: str
    picture: ProfileChart | None
    names: tuple[str, str]
    choices: tuple[tuple[int, str], ...]
    chosen: tuple[int, int]
    differences: tuple[DifferenceRow, ...]
    sisters: tuple[PairRow, ...]
    others: tuple[PairRow, ...]
    samples: tuple[ResultSample, ...]
    profiles: tuple[SampleProfiles, ...]
    families: tuple[CountedFamily, ...]
    missing: tuple[str, ...]
    settings: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


def result_page(table: Cupping, asked_pair: tuple[str, str]) -> ResultPage:
    """Return the result of a revealed table, with the pair that was asked for in front."""
    attributes = [entry.attribute for entry in table.asked.select_related("attribute")]
    samples = revealed_samples(table)
    beliefs = beliefs_now()
    judged = _judged(beliefs, table, samples, attributes)
    known = [s for s in samples if sample_name(table.pk, s.name) in judged.profiles]
    pair = _chosen(known, asked_pair)
    pairs = _pairs(table, judged, known, pair)
    found = _found(table, judged, pair)
    words = tuple(word for sample in samples for word, n, _ in sample.words for _ in range(n))
    return ResultPage(
        **_front(table, found, pair, beliefs),
        choices=tuple((s.sample.pk, s.name) for s in known),
        differences=_differences(found, attributes),
        sisters=tuple(row for row in pairs if row.sisters),
        others=tuple(row for row in pairs if not row.sisters),
        samples=tuple(samples),
        profiles=_profiles(table, judged, known, attributes),
        families=count_words(words),
        missing=missing_ratings(table),
        settings=settings_text(beliefs, attributes) if beliefs else (),
        notes=beliefs.notes if beliefs else (),
    )


def _judged(
    beliefs: Beliefs | None,
    table: Cupping,
    samples: list[ResultSample],
    attributes: list[Attribute],
) -> JudgedSamples:
    if beliefs is None:
        return JudgedSamples({}, {})
    return judge_table(
        beliefs,
        [sample_name(table.pk, s.name) for s in samples],
        {a.name: float(a.tolerance) for a in attributes},
        [a.name for a in attributes if a.kind == Attribute.Kind.INTENSITY],
    )


def _chosen(
    known: list[ResultSample], asked: tuple[str, str]
) -> tuple[ResultSample, ResultSample] | None:
    """Return the pair asked for; else two batches of one approach; else the first two."""
    by_key = {str(s.sample.pk): s for s in known}
    if asked[0] in by_key and asked[1] in by_key and asked[0] != asked[1]:
        return by_key[asked[0]], by_key[asked[1]]
    for i, one in enumerate(known):
        for other in known[i + 1 :]:
            if _sisters(one, other):
                return one, other
    return (known[0], known[1]) if len(known) > 1 else None


def _sisters(one: ResultSample, other: ResultSample) -> bool:
    """Say whether two samples are batches of one approach."""
    return one.approach is not None and one.approach == other.approach


@dataclass(frozen=True, slots=True)
class _Found:
    """A pair the way round it was asked."""

    pair: JudgedPair
    turned: bool
    judged: JudgedSamples
    names: tuple[str, str]


def _found(
    table: Cupping, judged: JudgedSamples, pair: tuple[ResultSample, ResultSample] | None
) -> _Found | None:
    if pair is None:
        return None
    a, b = (sample_name(table.pk, s.name) for s in pair)
    one = judged.pair(a, b)
    return _Found(one, one.a != a, judged, (a, b))


def _pairs(
    table: Cupping,
    judged: JudgedSamples,
    known: list[ResultSample],
    chosen: tuple[ResultSample, ResultSample] | None,
) -> list[PairRow]:
    rows = []
    for i, one in enumerate(known):
        for other in known[i + 1 :]:
            pair = judged.pair(*(sample_name(table.pk, s.name) for s in (one, other)))
            if pair.joint is None:
                continue
            rows.append(
                PairRow(
                    a=one.name,
                    b=other.name,
                    verdict=pair.joint.verdict,
                    chance=_joint_chance(pair),
                    deciding=_deciding(pair),
                    further=_further(pair.joint.further_cups),
                    url=f"?a={one.sample.pk}&b={other.sample.pk}",
                    chosen=chosen is not None and {one, other} == set(chosen),
                    sisters=_sisters(one, other),
                )
            )
    return rows


def _joint_chance(pair: JudgedPair) -> str:
    assert pair.joint is not None  # noqa: S101 - asked only where there is one
    if pair.joint.verdict == "different":
        return chance_text(pair.joint.chance_different)
    return chance_text(pair.joint.chance_same)


def _apart(pair: JudgedPair) -> list[str]:
    return [
        name
        for name, c in pair.by_attribute.items()
        if c.verdict == "different" and _counts(pair, name)
    ]


def _counts(pair: JudgedPair, attribute: str) -> bool:
    """Leave out what is liked: it is shown, but it decides nothing."""
    return attribute in pair.deciding


def _deciding(pair: JudgedPair) -> str:
    assert pair.joint is not None  # noqa: S101
    apart = _apart(pair)
    return joined(apart) if apart else pair.joint.deciding


def _further(n: int | None) -> str:
    if n is None:
        return "too close to tell"
    if n == 0:
        return "–"
    return f"{n} more" if n <= MANY else f"over {MANY}"


def _front(
    table: Cupping,
    found: _Found | None,
    pair: tuple[ResultSample, ResultSample] | None,
    beliefs: Beliefs | None,
) -> dict[str, Any]:
    if beliefs is None or found is None or pair is None or found.pair.joint is None:
        return {
            "sentence": _nothing(table, beliefs, pair),
            "verdict": "",
            "detail": "",
            "note": "",
            "problem": "",
            "picture": None,
            "names": ("", ""),
            "chosen": (0, 0),
        }
    joint, a, b = found.pair.joint, pair[0].name, pair[1].name
    chance = chance_text(
        joint.chance_different if joint.verdict == "different" else joint.chance_same
    )
    return {
        "sentence": _sentence(found, pair),
        "verdict": joint.verdict,
        "detail": chance,
        "note": _note(joint.verdict, joint.further_cups, joint.deciding),
        "problem": "",
        "picture": _picture(found, a, b),
        "names": (a, b),
        "chosen": (pair[0].sample.pk, pair[1].sample.pk),
    }


def _nothing(
    table: Cupping, beliefs: Beliefs | None, pair: tuple[ResultSample, ResultSample] | None
) -> str:
    if table.void:
        return f"{table} is void: it counts nowhere."
    if beliefs is None:
        return "Nothing was rated at this table, so there is nothing to compare."
    if pair is None:
        return "Fewer than two samples of this table were rated, so there is no pair to compare."
    return "Only likings were asked for at this table, so there is no taste to compare."


def _sentence(found: _Found, pair: tuple[ResultSample, ResultSample]) -> str:
    joint, a, b = found.pair.joint, pair[0].name, pair[1].name
    assert joint is not None  # noqa: S101
    if joint.verdict == "same":
        return f"{a} and {b} taste the same within tolerance: {chance_text(joint.chance_same)}."
    if joint.verdict == "different":
        first = max(_apart(found.pair), key=lambda name: _off(found.pair.by_attribute[name]))
        comparison = found.pair.by_attribute[first]
        more = (comparison.difference > 0) != found.turned
        rest = [name for name in _apart(found.pair) if name != first]
        also = f", and differs in {joined(rest)} too" if rest else ""
        size = f"{abs(comparison.difference):.1f}"
        return (
            f"{a} has {size} {'more' if more else 'less'} {first} than {b}{also}: "
            f"{chance_text(joint.chance_different)}."
        )
    return f"Not enough cups to tell {a} from {b}: the same with {chance_text(joint.chance_same)}."


def _off(comparison: Comparison) -> float:
    return max(comparison.chance_higher, comparison.chance_lower)


def _note(verdict: str, further: int | None, deciding: str) -> str:
    if verdict == "same":
        return f"A difference within tolerance counts as none. The least sure is {deciding}."
    if verdict == "different":
        return "At least one attribute is off by more than its tolerance."
    if further is None or further > MANY:
        return (
            f"The difference in {deciding} lies about as far as the tolerance, so more cups of "
            "these two would hardly settle it; ask whether the tolerance is right."
        )
    return (
        f"About {further} more {'pair' if further == 1 else 'pairs'} of cups, each sample tasted "
        f"once more, would settle it with a chance of 80 %. The least sure attribute is {deciding}."
    )


def _picture(found: _Found, a: str, b: str) -> ProfileChart:
    rows = []
    for name, comparison in found.pair.by_attribute.items():
        values = tuple(_doubt(found.judged.profiles[side][name]) for side in found.names)
        rows.append(ProfileRow(name.capitalize(), values, verdict=comparison.verdict))
    return ProfileChart(rows, series=(a, b), caption=f"{a} and {b}")


def _doubt(belief: Belief) -> Doubt:
    return Doubt(belief.mean, belief.low50, belief.high50, belief.low90, belief.high90)


def _differences(found: _Found | None, attributes: list[Attribute]) -> tuple[DifferenceRow, ...]:
    if found is None:
        return ()
    kinds = {a.name: a.kind for a in attributes}
    rows = []
    for name, c in found.pair.by_attribute.items():
        sign = -1 if found.turned else 1
        low, high = sorted((sign * c.low90, sign * c.high90))
        chance = c.chance_same if c.verdict != "different" else max(c.chance_higher, c.chance_lower)
        rows.append(
            DifferenceRow(
                attribute=name,
                difference=signed(sign * c.difference),
                interval=f"{signed(low)}\xa0to\xa0{signed(high)}",
                tolerance=f"± {c.tolerance:g}",
                chance=chance_text(chance),
                verdict=c.verdict,
                further=_further(c.further_cups()),
                liking=kinds[name] == Attribute.Kind.LIKING,
            )
        )
    return tuple(rows)


def _profiles(
    table: Cupping, judged: JudgedSamples, known: list[ResultSample], attributes: list[Attribute]
) -> tuple[SampleProfiles, ...]:
    """Return all samples in one picture while marks tell them apart, else one per attribute."""
    rated = {s.name: judged.profiles[sample_name(table.pk, s.name)] for s in known}
    asked = [a for a in attributes if all(a.name in profile for profile in rated.values())]
    if not rated:
        return ()
    if len(rated) <= len(SHAPES):
        rows = [
            ProfileRow(a.name.capitalize(), tuple(_doubt(p[a.name]) for p in rated.values()))
            for a in asked
        ]
        return (SampleProfiles("", ProfileChart(rows, series=tuple(rated)), ""),)
    return tuple(
        SampleProfiles(
            a.name.capitalize(),
            ProfileChart([ProfileRow(name, (_doubt(p[a.name]),)) for name, p in rated.items()]),
            f"0 {a.low_word}, 10 {a.high_word}",
        )
        for a in asked
    )
