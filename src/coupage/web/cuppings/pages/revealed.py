"""What was in the cups of a revealed table, what was said of it, and what was not rated."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Cupping, Part, Sample, Word
from coupage.web.cuppings.pages.table import made_of, matrix_of
from coupage.web.cuppings.words import count_words

__all__ = ["ResultSample", "missing_ratings", "revealed_samples"]


@dataclass(frozen=True, slots=True)
class ResultSample:
    """A sample as the result shows it, with its codes now that they are revealed."""

    sample: Sample
    name: str
    made_of: str
    approach: int | None
    roasted: dt.datetime
    codes: str
    words: tuple[tuple[str, int, str], ...]


def revealed_samples(table: Cupping) -> list[ResultSample]:
    """Return the samples of a table, batches of one approach together and blends last."""
    codes: dict[int, list[str]] = {}
    for cup in table.cups.order_by("sample", "number"):
        codes.setdefault(cup.sample_id, []).append(cup.code)
    said: dict[int, list[str]] = {}
    words = Word.objects.filter(cup__cupping=table).values_list("cup__sample", "text")
    for sample, text in words:
        said.setdefault(sample, []).append(text)
    found = queries.samples().filter(pk__in=codes)
    rows = [_sample(s, codes[s.pk], said.get(s.pk, [])) for s in found]
    # Batches of one approach stand together, the newest first; blends come last.
    rows.sort(key=lambda row: row.roasted, reverse=True)
    return sorted(rows, key=lambda row: (row.approach is None, row.approach or 0))


def _sample(sample: Sample, codes: list[str], said: list[str]) -> ResultSample:
    parts: list[Part] = list(sample.parts.all())
    straight = parts[0].batch.approach_version.approach_id if len(parts) == 1 else None
    words = tuple(
        (word, n, family.name) for family in count_words(said) for word, n in family.words
    )
    roasted = max(part.batch.roasted_at for part in parts)
    return ResultSample(
        sample, sample.label, made_of(sample), straight, roasted, ", ".join(codes), words
    )


def missing_ratings(table: Cupping) -> tuple[str, ...]:
    """Say what was not rated, one sentence per taster that left something empty."""
    lines = []
    for row in matrix_of(table):
        empty = row.most - row.filled
        if empty:
            cups = [cell.code for cell in row.cells if cell.state != "done"]
            where = "every cup" if len(cups) == len(row.cells) else f"cups {', '.join(cups)}"
            ratings = "rating" if empty == 1 else "ratings"
            lines.append(f"{row.seat.taster.name}: {empty} of {row.most} {ratings} ({where})")
    return tuple(lines)
