"""What does not fit: odd ratings, exchanged codes, and how well tables are predicted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.urls import reverse

from coupage.errors import InputError
from coupage.panel import LeftOutSample, OddRating, PredictiveCheck, SwappedCodes, VerdictChange
from coupage.web.common.feedback import sentence
from coupage.web.cuppings.misfits import Found, Misfits, Predicted, misfits_of
from coupage.web.cuppings.models import Cupping, Mend, Rating, Seat

__all__ = ["MisfitsPage", "mends_of", "misfits_page"]

_CHECKS = {
    "largest residual": ("the oddest rating", "further off", "closer"),
    "lean of the residuals": (
        "the lean of the ratings",
        "further up",
        "further down",
    ),
    "ratings at an end of the scale": (
        "ratings of 0 or 10",
        "more of them",
        "fewer of them",
    ),
    "uneven tasters": ("tasters beside each other", "less even", "more even"),
}


@dataclass(frozen=True, slots=True)
class OddRow:
    """One odd rating in words, and where it is mended."""

    rating: Rating
    table: Cupping
    expected: str
    rare: str
    meant: str
    moves: str
    correct: str
    aside: str


@dataclass(frozen=True, slots=True)
class SwapRow:
    table: Cupping
    taster: str
    first: str
    second: str
    chance: str
    href: str


@dataclass(frozen=True, slots=True)
class PredictedRow:
    attribute: str
    error: str
    coverage: str
    outside: str
    missed: str


@dataclass(frozen=True, slots=True)
class MendRow:
    mend: Mend
    table: Cupping
    became: str
    undo: str


@dataclass(frozen=True, slots=True)
class MisfitsPage:
    """``problem`` instead of everything else, where it cannot be looked for."""

    table: Cupping | None
    sentence: str
    note: str
    odd: tuple[OddRow, ...]
    swapped: tuple[SwapRow, ...]
    changes: tuple[str, ...]
    predicted: tuple[PredictedRow, ...]
    conflicts: tuple[str, ...]
    mends: tuple[MendRow, ...]
    threshold: str
    looked: int
    problem: str = ""


def misfits_page(table: Cupping | None) -> MisfitsPage:
    """Compute what the page shows, of one table or of all."""
    mends = mends_of(table)
    try:
        found = misfits_of(table)
    except InputError as problem:
        return _empty(table, mends, sentence(problem))
    if found is None or not found.misfits.looked:
        return _empty(table, mends, "Nothing was rated and revealed yet.")
    misfits = found.misfits
    odd, swapped = _odd_rows(found), _swap_rows(misfits)
    said, note = _said(misfits, len(odd), len(swapped))
    return MisfitsPage(
        table=table,
        sentence=said,
        note=note,
        odd=odd,
        swapped=swapped,
        changes=tuple(_change_words(change) for change in misfits.changes),
        predicted=tuple(_predicted_row(row) for row in misfits.predicted),
        conflicts=misfits.conflicts,
        mends=mends,
        threshold=f"{100 * found.threshold:g} %",
        looked=len(misfits.looked),
    )


def mends_of(table: Cupping | None) -> tuple[MendRow, ...]:
    """Return what was mended and holds, newest first; what was done together stands once."""
    there = Mend.objects.filter(undone_at=None).select_related(
        "by", "rating__cup__cupping", "rating__seat__taster", "rating__attribute", "rating__round"
    )
    if table is not None:
        there = there.filter(rating__cup__cupping=table)
    rows: list[MendRow] = []
    seen: set[str] = set()
    for mend in there.order_by("-at", "-id"):
        if mend.together in seen:
            continue
        seen |= {mend.together} - {""}
        if mend.together:
            became = "exchanged with those of another cup"
        else:
            became = "set aside" if mend.became is None else f"{mend.became.normalize():f}"
        undo = reverse("cuppings:undo-mend", args=[mend.pk])
        rows.append(MendRow(mend, mend.rating.cup.cupping, became, undo))
    return tuple(rows)


def _empty(table: Cupping | None, mends: tuple[MendRow, ...], problem: str) -> MisfitsPage:
    return MisfitsPage(table, "", "", (), (), (), (), (), mends, "", 0, problem)


def _said(misfits: Misfits, odd: int, swapped: int) -> tuple[str, str]:
    parts = []
    if odd:
        parts.append("one rating looks" if odd == 1 else f"{odd} ratings look")
    if swapped:
        one = swapped == 1
        parts.append("one pair of codes looks" if one else f"{swapped} pairs of codes look")
    if not parts:
        return "Nothing looks like a slip.", ""
    several = odd + swapped > 1
    text = " and ".join(parts) + (" like slips." if several else " like a slip.")
    if misfits.changes:
        note = f"Verdicts hang on {'it' if odd == 1 else 'them'}: look before you trust this table."
    else:
        note = f"No verdict changes without {'it' if odd == 1 else 'them'}."
    return text[0].upper() + text[1:], note if odd else ""


def _odd_rows(found: Found) -> tuple[OddRow, ...]:
    keys = [found.keys[odd.row - 1] for odd in found.misfits.odd]
    ratings = Rating.objects.select_related(
        "cup__cupping", "seat__taster", "attribute", "round"
    ).in_bulk(keys)
    return tuple(
        _odd_row(odd, ratings[key])
        for odd, key in zip(found.misfits.odd, keys, strict=True)
        if key in ratings
    )


def _odd_row(odd: OddRating, rating: Rating) -> OddRow:
    mend = reverse("cuppings:mend", args=[rating.pk])
    return OddRow(
        rating=rating,
        table=rating.cup.cupping,
        expected=f"{odd.expected:.1f} give or take {odd.sd:.1f}",
        rare=_rare(odd.chance),
        meant="" if odd.meant is None else f"{odd.meant:g}",
        moves=f"{abs(odd.moves):.1f} {'up' if odd.moves > 0 else 'down'}",
        correct=mend if odd.meant is None else f"{mend}?to={odd.meant:g}",
        aside=f"{mend}?aside",
    )


def _rare(chance: float) -> str:
    """Write a small chance as one in so many, with two digits that count.

    >>> _rare(0.0003), _rare(1e-9)
    ('1 in 3,300', 'less than 1 in a million')
    """
    if chance < 1e-6:
        return "less than 1 in a million"
    return f"1 in {float(f'{1 / chance:.2g}'):,.0f}"


def _swap_rows(misfits: Misfits) -> tuple[SwapRow, ...]:
    tables = Cupping.objects.in_bulk({int(each.cupping) for each in misfits.swapped})
    seats = {
        (seat.cupping_id, seat.taster.name): seat
        for seat in Seat.objects.filter(cupping__in=tables).select_related("taster")
    }
    return tuple(
        _swap_row(each, tables[int(each.cupping)], seats[int(each.cupping), each.taster])
        for each in misfits.swapped
        if (int(each.cupping), each.taster) in seats
    )


def _swap_row(swap: SwappedCodes, table: Cupping, seat: Seat) -> SwapRow:
    first, second = _label(swap.first), _label(swap.second)
    samples = {cup.sample.label: cup.sample_id for cup in table.cups.select_related("sample")}
    return SwapRow(
        table=table,
        taster=swap.taster,
        first=first,
        second=second,
        chance="over 99 %" if swap.chance > 0.99 else f"{100 * swap.chance:.0f} %",
        href=reverse("cuppings:exchange", args=[seat.pk, samples[first], samples[second]]),
    )


def _label(name: str) -> str:
    """Return the label of a sample from the name by which beliefs know it."""
    return name.rpartition(" @")[0]


def _change_words(change: VerdictChange) -> str:
    return (
        f"{_label(change.first)} and {_label(change.second)}, {change.attribute}: "
        f"{change.before} with the odd ratings, {change.after} without them."
    )


def _predicted_row(row: Predicted) -> PredictedRow:
    return PredictedRow(
        attribute=row.attribute,
        error=f"{row.error:.1f}",
        coverage=f"{round(row.coverage * row.samples)} of {row.samples}",
        outside="; ".join(map(_outside_words, _furthest(row.outside))),
        missed="; ".join(map(_missed_words, row.missed))
        or ("as expected" if row.checked else "too large to draw tables like it"),
    )


def _furthest(outside: Sequence[LeftOutSample], most: int = 3) -> list[LeftOutSample]:
    ranked = sorted(outside, key=lambda s: -abs(s.observed - s.predicted) / s.sd)
    return ranked[:most]


def _outside_words(sample: LeftOutSample) -> str:
    return f"{_label(sample.sample)} {sample.observed:.1f}, not {sample.predicted:.1f}"


def _missed_words(check: PredictiveCheck) -> str:
    what, above, below = _CHECKS[check.about]
    return f"{what}: {above if check.chance < 0.5 else below}"
