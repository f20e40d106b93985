"""An analysis as text: the answer first, then the reasons."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterator, Sequence

from coupage.cli.analysis import Analysis, BriefAnswer, Pair, Tasted
from coupage.cli.words import about_pair, answer, chance, recipe, share, steadiness
from coupage.panel import Belief

__all__ = ["bar", "report"]

_MOST_PROFILES = 15
_MOST_PAIRS = 40
# Thin line, thick line, point, edge.
Signs = tuple[str, str, str, str]
_FANCY: Signs = ("─", "━", "●", "│")
_PLAIN: Signs = ("-", "=", "o", "|")


def report(analysis: Analysis, *, width: int | None = None, plain: bool | None = None) -> str:
    """The whole text, at most ``width`` columns wide; ``plain`` keeps to ASCII signs."""
    columns = width or min(shutil.get_terminal_size((88, 24)).columns, 110)
    signs = _PLAIN if (_cannot_draw() if plain is None else plain) else _FANCY
    lines = [*_opening(analysis, columns), *_in_short(analysis, columns)]
    if analysis.brief is not None:
        lines += _brief(analysis.brief, columns)
    lines += _profiles(analysis.tasted, columns, signs)
    lines += _pairs(analysis.pairs, columns)
    lines += _tasters(analysis, columns)
    lines += _spread(analysis)
    lines += _notes(analysis, columns)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _cannot_draw() -> bool:
    try:
        "".join(_FANCY).encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return True
    return False


def _wrapped(text: str, width: int, first: str = "  ", rest: str = "  ") -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _opening(analysis: Analysis, width: int) -> list[str]:
    ratings = analysis.tables.ratings
    told = ", ".join(
        _counted(count, word)
        for count, word in (
            (len(analysis.tables.components), "coffee"),
            (len({*ratings["sample"]}), "sample"),
            (len({*ratings["taster"]}), "taster"),
            (len({*ratings["cupping"]}), "cupping"),
            (len(ratings["rating"]), "rating"),
        )
    )
    return _wrapped(f"{told}.", width, "", "")


def _counted(count: int, word: str) -> str:
    return f"{count:,} {word}" + ("" if count == 1 else "s")


def _in_short(analysis: Analysis, width: int) -> Iterator[str]:
    yield from ("", "In short")
    for sentence in answer(analysis):
        yield from _wrapped(sentence, width)


def _brief(brief: BriefAnswer, width: int) -> Iterator[str]:
    file = brief.file
    if not brief.choices:
        return
    yield from ("", f"Best recipes for {file.brief.name!r} (steps of {share(float(file.step))})")
    cost = f"cost {file.currency}".strip()
    priced = any(choice.cost is not None for choice in brief.choices)
    yield f"  {'chance':>9}  {'fit':>5}  " + (f"{cost:>9}  " if priced else "") + "recipe"
    for choice in brief.choices:
        yield from _wrapped(
            recipe(choice.recipe), width, _lead(choice.chance, choice.desirability, choice.cost)
            if priced else _lead(choice.chance, choice.desirability), " " * (31 if priced else 20),
        )  # fmt: skip
    yield from _wrapped(
        "chance: every must-have holds; fit: desirability of the expected profile, 0 to 1", width
    )
    if brief.best_chances:
        yield from ("", "  The first recipe's must-haves")
        longest = max(map(len, brief.best_chances))
        for attribute, (low, high) in file.brief.events.items():
            yield (
                f"    {attribute:<{longest}}  {_range(low, high):<12}  "
                f"chance {chance(brief.best_chances[attribute])}"
            )
    yield from ("", "  What was tasted, against the brief")
    for one in brief.served[:_MOST_PROFILES]:
        yield from _wrapped(
            recipe(one.tasted.recipe), width, _lead(one.chance, one.desirability), " " * 20
        )
    yield from _cost_card(brief)


def _lead(on_brief: float, fit: float, cost: float | None = None) -> str:
    money = "" if cost is None else f"{cost:>9.2f}  "
    return f"  {chance(on_brief):>9}  {fit:>5.2f}  {money}"


def _range(low: float, high: float) -> str:
    if high == float("inf"):
        return f"at least {low:g}"
    return f"at most {high:g}" if low == -float("inf") else f"{low:g} to {high:g}"


def _cost_card(brief: BriefAnswer) -> Iterator[str]:
    if brief.card is None:
        return
    money = f", {brief.file.currency}" if brief.file.currency else ""
    yield from ("", f"  Cost of a roasted kilogram of the first{money}")
    for line in brief.card.lines:
        if line.per_kg:
            yield f"    {line.what:<26} {line.per_kg:>9.2f}"
    yield f"    {'together':<26} {brief.card.total:>9.2f}"


def bar(belief: Belief, width: int, signs: Signs = _FANCY) -> str:
    """A belief on the scale from 0 to 10: thin 90 %, thick 50 %, the mean as a point.

    >>> bar(Belief(5.0, 1.0, 4.3, 5.7, 3.4, 6.6), 21, ('-', '=', 'o', '|'))
    '|       --=o=--       |'
    """
    thin, thick, point, edge = signs
    last = width - 1

    def at(value: float) -> int:
        return round(min(max(value, 0.0), 10.0) / 10 * last)

    cells = [" "] * width
    cells[at(belief.low90) : at(belief.high90) + 1] = thin * (
        at(belief.high90) - at(belief.low90) + 1
    )
    cells[at(belief.low50) : at(belief.high50) + 1] = thick * (
        at(belief.high50) - at(belief.low50) + 1
    )
    cells[at(belief.mean)] = point
    return edge + "".join(cells) + edge


def _profiles(tasted: Sequence[Tasted], width: int, signs: Signs) -> Iterator[str]:
    thin, thick, point, _ = signs
    yield from (
        "",
        "Profiles, 0 to 10",
        f"  {point} mean, {thick * 2} half of the doubt, {thin * 2} 90 % of it",
    )
    for one in tasted[:_MOST_PROFILES]:
        samples = f" ({', '.join(one.samples)})"
        yield from _wrapped(recipe(one.recipe) + samples, width)
        longest = max(map(len, one.profile))
        room = max(width - longest - 26, 21)
        for attribute, belief in one.profile.items():
            ends = f"{max(belief.low90, 0):.1f} to {min(belief.high90, 10):.1f}"
            yield (
                f"    {attribute:<{longest}} {belief.mean:>4.1f}  {ends:<11} "
                f"{bar(belief, min(room, 51), signs)}"
            )
    if len(tasted) > _MOST_PROFILES:
        yield f"  ... and {len(tasted) - _MOST_PROFILES} more; --json has them all"


def _pairs(pairs: Sequence[Pair], width: int) -> Iterator[str]:
    if not pairs:
        return
    yield from ("", "Same or different")
    for pair in pairs[:_MOST_PAIRS]:
        same = ", one recipe" if pair.same_recipe else ""
        yield from _wrapped(f"{pair.a} and {pair.b}{same}: {about_pair(pair)}", width, "  ", "    ")
    if len(pairs) > _MOST_PAIRS:
        yield f"  ... and {len(pairs) - _MOST_PAIRS} more; --json has them all"


def _tasters(analysis: Analysis, width: int) -> Iterator[str]:
    yield from ("", "Who tastes steadily")
    longest = max(len("taster"), *(len(report.taster) for report in analysis.tasters))
    yield f"  {'taster':<{longest}}  ratings  noise  tells apart  agrees  leaning"
    for one in sorted(analysis.tasters, key=steadiness):
        noise, _ = steadiness(one)
        apart = _mean(list(one.tells_apart.values()))
        agrees = _mean(list(one.agreement.values()))
        leaning = [
            f"{attribute} {bias.mean:+.1f}"
            for attribute, bias in one.bias.items()
            if bias.low90 > 0 or bias.high90 < 0
        ]
        yield (
            f"  {one.taster:<{longest}}  {sum(one.ratings.values()):>7}  {noise:>5.1f}  "
            f"{'-' if apart is None else share(round(apart, 2)):>11}  "
            f"{'-' if agrees is None else f'{agrees:.2f}':>6}  {', '.join(leaning) or '-'}"
        )
    yield from _wrapped(
        "noise: points by which a repeated rating strays; tells apart: share of a taster's "
        "variance that the samples cause; agrees: correlation with the others; leaning: surely "
        "above or below the table",
        width,
    )


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None


def _spread(analysis: Analysis) -> Iterator[str]:
    yield from ("", "Where the spread of a rating comes from")
    shares = {attribute: spread.shares() for attribute, spread in analysis.spread.items()}
    sources = list(dict.fromkeys(source for parts in shares.values() for source in parts))
    longest = max(map(len, shares))
    yield f"  {'':<{longest}}  " + "  ".join(f"{source:>7}" for source in sources)
    for attribute, parts in shares.items():
        cells = "  ".join(
            f"{share(round(parts[s], 2)) if s in parts else '-':>{max(7, len(s))}}" for s in sources
        )
        yield f"  {attribute:<{longest}}  {cells}"


def _notes(analysis: Analysis, width: int) -> Iterator[str]:
    tolerance = {f"{value:g}" for value in analysis.tolerance.values()}
    told = (
        f"tolerance {tolerance.pop()} points"
        if len(tolerance) == 1
        else "tolerance " + ", ".join(f"{n} {v:g}" for n, v in analysis.tolerance.items())
    )
    beliefs = analysis.beliefs
    yield from ("", "Notes")
    for note in (
        (
            f"{told}; a verdict needs a chance of {share(beliefs.threshold)}; profiles are of "
            f"coffee {beliefs.reference_age:g} days after roasting; seed {analysis.seed}"
        ),
        *analysis.notes,
    ):
        yield from _wrapped(note, width, "  - ", "    ")
