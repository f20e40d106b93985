"""Ratings and samples as people hand them in, checked once and turned into numbers.

Anything that maps a column name to a one-dimensional array will do: a dict, a pandas or a polars
frame; none of them is imported here. Rows are counted from 1, the heading not counted, because
that is how the person who has to mend the row will count.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.errors import InputError
from coupage.panel.reading import Columns, Reader, nearest

__all__ = ["Ratings", "Samples", "read_ratings", "read_samples"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

SUM_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True)
class Ratings:
    """Every rating that was given, as codes into lists of names (n ratings).

    ``place`` numbers the cups: one number for each cupping, taster, sample, cup and pass, the same
    for all attributes, so that attributes rated on the same cups can share their design.
    """

    cuppings: tuple[str, ...]
    tasters: tuple[str, ...]
    passes: tuple[str, ...]
    attributes: tuple[str, ...]
    cupping: Codes
    taster: Codes
    sample: Codes
    pass_: Codes
    place: Codes
    attribute: Codes
    rating: Floats
    row: Codes


@dataclass(frozen=True, slots=True)
class Samples:
    """What stood on the table (S samples, q components, b batches, f features).

    Attributes
    ----------
    shares
        (S, q) proportions, rows sum to 1.
    batch_shares
        (S, b) proportion of a sample that comes from a batch.
    age
        (S,) share-weighted age in days minus the reference age; 0 where the age is not known.
    lot
        (q,) code of the lot of each component.
    features
        (q, f) centred and scaled features of the components; 0 where not known.
    """

    names: tuple[str, ...]
    components: tuple[str, ...]
    batches: tuple[str, ...]
    lots: tuple[str, ...]
    feature_names: tuple[str, ...]
    shares: sparse.csr_array
    batch_shares: sparse.csr_array
    age: Floats
    lot: Codes
    features: Floats

    @property
    def nested(self) -> bool:
        """Whether some lot stands on the table by more than one approach."""
        return len(self.lots) < len(self.components)


def read_ratings(
    table: Columns,
    sample_names: Sequence[str],
    *,
    attributes: Sequence[str] | None,
    scale: tuple[float, float],
) -> Ratings:
    """Check the ratings; rows without a rating are skipped.

    Raises
    ------
    InputError
        A column is missing or of another length, a name is empty, a sample is not described, a
        rating is no number or off the scale, or one cup is rated twice for one attribute.
    """
    reader = Reader(table, "ratings", ("cupping", "taster", "sample", "attribute", "rating"))
    rating = reader.numbers("rating")
    keep = np.flatnonzero(~np.isnan(rating))
    every_attribute, attribute = reader.labels("attribute")
    if attributes is not None:
        keep, attribute, every_attribute = _chosen(attributes, every_attribute, attribute, keep)
    _check_scale(rating, keep, scale)
    names, sample = reader.labels("sample")
    sample = _match(names, sample, sample_names, reader, keep)
    cuppings, cupping = reader.labels("cupping")
    tasters, taster = reader.labels("taster")
    passes, pass_ = reader.labels("pass_name", default="")
    _, cup = reader.labels("cup", default="")
    key = np.stack([cupping, taster, sample, cup, pass_])[:, keep]
    place = _number_rows(key)
    _check_repeats(place, attribute[keep], keep, reader)
    return Ratings(
        cuppings=cuppings,
        tasters=tasters,
        passes=passes,
        attributes=every_attribute,
        cupping=cupping[keep],
        taster=taster[keep],
        sample=sample[keep],
        pass_=pass_[keep],
        place=place,
        attribute=attribute[keep],
        rating=rating[keep],
        row=keep + 1,
    )


def read_samples(
    table: Columns,
    *,
    reference_age: float,
    features: Columns | None = None,
    extra_components: Iterable[str] = (),
) -> Samples:
    """Check the samples: who is in them, from which batch and lot, how old.

    Raises
    ------
    InputError
        Proportions that are no fractions or do not sum to 1, a component in two lots, a batch
        that stands for different coffees, a negative age.
    """
    reader = Reader(table, "samples", ("sample", "component", "proportion"))
    names, sample = reader.labels("sample")
    components, component = reader.labels("component")
    share = _shares(reader, names, sample)
    lots_of = _lots(reader, components, component)
    extra = [c for c in dict.fromkeys(map(str, extra_components)) if c not in components]
    feature_names, values, extra = _features(features, components, extra)
    everyone = (*components, *extra)
    lot_labels = lots_of + [_own_lot(c) for c in extra]
    lots = tuple(dict.fromkeys(lot_labels))
    index = {lot: i for i, lot in enumerate(lots)}
    shape = (len(names), len(everyone))
    batches, batch_shares = _batches(reader, names, components, sample, component, share)
    return Samples(
        names=names,
        components=everyone,
        batches=batches,
        lots=lots,
        feature_names=feature_names,
        shares=_table(sample, component, share, shape),
        batch_shares=batch_shares,
        age=_ages(reader, sample, share, len(names), reference_age),
        lot=np.array([index[lot] for lot in lot_labels], dtype=np.int64),
        features=values,
    )


def _chosen(
    attributes: Sequence[str], known: tuple[str, ...], codes: Codes, keep: Codes
) -> tuple[Codes, Codes, tuple[str, ...]]:
    wanted = tuple(dict.fromkeys(str(a) for a in attributes))
    for name in wanted:
        if name not in known:
            raise InputError(f"attributes: {name!r} was not rated; {nearest(name, known)}")
    index = {name: i for i, name in enumerate(wanted)}
    recode = np.array([index.get(name, -1) for name in known], dtype=np.int64)
    codes = recode[codes]
    return keep[codes[keep] >= 0], codes, wanted


def _check_scale(rating: Floats, keep: Codes, scale: tuple[float, float]) -> None:
    low, high = scale
    kept = rating[keep]
    wrong = np.flatnonzero((kept < low) | (kept > high) | np.isinf(kept))
    if len(wrong):
        i = keep[wrong[0]]
        raise InputError(
            f"ratings: row {i + 1}, column 'rating': {rating[i]:g} is off the scale from {low:g} "
            f"to {high:g}; mend the rating, or leave it empty if the cup was not rated"
        )


def _match(
    names: tuple[str, ...], codes: Codes, known: Sequence[str], reader: Reader, keep: Codes
) -> Codes:
    index = {name: i for i, name in enumerate(known)}
    recode = np.array([index.get(name, -1) for name in names], dtype=np.int64)
    lost = np.flatnonzero(recode[codes[keep]] < 0)
    if len(lost):
        row = int(keep[lost[0]])
        name = names[codes[row]]
        raise reader.fail(
            row, "sample", f"{name!r} is not among the samples; {nearest(name, known)}"
        )
    return recode[codes]


def _number_rows(key: Codes) -> Codes:
    """Number equal columns of ``key`` alike, by order of value."""
    number = np.zeros(key.shape[1], dtype=np.int64)
    for line in key:
        # Renumbering after each line keeps the product far from overflow.
        _, number = np.unique(number * (int(line.max(initial=0)) + 1) + line, return_inverse=True)
    return number


def _check_repeats(place: Codes, attribute: Codes, keep: Codes, reader: Reader) -> None:
    key = attribute * (int(place.max(initial=0)) + 1) + place
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order][1:] == key[order][:-1])
    if len(same):
        first, second = sorted(int(keep[order[same[0] + j]]) + 1 for j in (0, 1))
        column = "number the cups in" if reader.has("cup") else "add"
        raise InputError(
            f"ratings: rows {first} and {second} rate the same cup for the same attribute; delete "
            f"one, or if it is a repeated cup {column} a column 'cup'"
        )


def _shares(reader: Reader, names: tuple[str, ...], sample: Codes) -> Floats:
    share = reader.numbers("proportion")
    wrong = np.flatnonzero(~(share >= 0) | np.isinf(share))
    if len(wrong):
        i = int(wrong[0])
        raise reader.fail(i, "proportion", f"{share[i]:g} is not a share; write one from 0 to 1")
    total = np.bincount(sample, weights=share, minlength=len(names))
    off = np.flatnonzero(np.abs(total - 1) > SUM_TOLERANCE)
    if len(off):
        i = int(off[0])
        hint = (
            "it looks like per cent: divide by 100"
            if abs(total[i] - 100) < 1
            else "mend its proportions until they add up to 1"
        )
        raise InputError(f"samples: sample {names[i]!r} adds up to {total[i]:.6g}, not 1; {hint}")
    return share / total[sample]


def _own_lot(component: str) -> str:
    return f"(lot of {component})"


def _lots(reader: Reader, components: tuple[str, ...], component: Codes) -> list[str]:
    lot_of = [""] * len(components)
    if reader.has("lot"):
        lots, lot = reader.labels("lot", default="")
        for row, (c, code) in enumerate(zip(component.tolist(), lot.tolist(), strict=True)):
            name = lots[code]
            if name and lot_of[c] and lot_of[c] != name:
                raise reader.fail(
                    row,
                    "lot",
                    f"component {components[c]!r} is of lot {name!r} here and of "
                    f"{lot_of[c]!r} above; a component is one lot roasted one way: rename one",
                )
            lot_of[c] = name or lot_of[c]
    return [lot or _own_lot(c) for lot, c in zip(lot_of, components, strict=True)]


def _batches(
    reader: Reader,
    names: tuple[str, ...],
    components: tuple[str, ...],
    sample: Codes,
    component: Codes,
    share: Floats,
) -> tuple[tuple[str, ...], sparse.csr_array]:
    """Without a column the term stays out; a gap is a batch of its own: all coffee was roasted."""
    if not reader.has("batch"):
        return (), sparse.csr_array((len(names), 0))
    given, code = reader.labels("batch", default="")
    labels = [
        given[c] or f"(unnamed, {components[k]} in {names[s]})"
        for s, k, c in zip(sample.tolist(), component.tolist(), code.tolist(), strict=True)
    ]
    coffees: dict[str, dict[int, set[int]]] = {}
    for s, k, label in zip(sample.tolist(), component.tolist(), labels, strict=True):
        coffees.setdefault(label, {}).setdefault(s, set()).add(k)
    for label, by_sample in coffees.items():
        first, *others = by_sample.items()
        for s, members in others:
            if members != first[1]:
                raise InputError(
                    f"samples: batch {label!r} holds {_listed(components, first[1])} in sample "
                    f"{names[first[0]]!r} and {_listed(components, members)} in {names[s]!r}; one "
                    "batch is one roast: give each its own name"
                )
    batches = tuple(coffees)
    index = {label: i for i, label in enumerate(batches)}
    codes = np.array([index[label] for label in labels], dtype=np.int64)
    return batches, _table(sample, codes, share, (len(names), len(batches)))


def _listed(components: tuple[str, ...], members: set[int]) -> str:
    return " and ".join(repr(components[i]) for i in sorted(members))


def _ages(reader: Reader, sample: Codes, share: Floats, count: int, reference_age: float) -> Floats:
    if not reader.has("age_days"):
        return np.zeros(count)
    age = reader.numbers("age_days")
    wrong = np.flatnonzero((age < 0) | np.isinf(age))
    if len(wrong):
        i = int(wrong[0])
        raise reader.fail(i, "age_days", f"{age[i]:g} is not an age; count days from the roast")
    known = np.where(np.isnan(age), 0.0, age - reference_age)
    return np.bincount(sample, weights=share * known, minlength=count).astype(np.float64)


def _features(
    table: Columns | None, components: tuple[str, ...], extra: list[str]
) -> tuple[tuple[str, ...], Floats, list[str]]:
    """Numbers are centred and scaled, words become one column a level; gaps stay at the average."""
    if table is None:
        return (), np.zeros((len(components) + len(extra), 0)), extra
    reader = Reader(table, "features", ("component",))
    names, code = reader.labels("component")
    extra = extra + [n for n in names if n not in components and n not in extra]
    index = {name: i for i, name in enumerate((*components, *extra))}
    at = np.array([index[n] for n in names], dtype=np.int64)[code]
    columns: list[tuple[str, Floats]] = []
    for name in reader.names:
        if name == "component":
            continue
        if reader.column(name).dtype.kind in "fiu":
            values = reader.numbers(name)
            spread = float(np.nanstd(values)) if np.isfinite(values).any() else 0.0
            if spread > 0:
                scaled = np.nan_to_num((values - np.nanmean(values)) / spread)
                columns.append((name, scaled))
        else:
            levels, level = reader.labels(name, default="")
            columns += [
                (f"{name}: {text}", (level == i).astype(np.float64))
                for i, text in enumerate(levels)
                if text
            ]
    out = np.zeros((len(index), len(columns)))
    for j, (_, values) in enumerate(columns):
        out[at, j] = values
    return tuple(name for name, _ in columns), out, extra


def _table(rows: Codes, columns: Codes, values: Floats, shape: tuple[int, int]) -> sparse.csr_array:
    table = sparse.csr_array((values, (rows, columns)), shape=shape)
    table.sum_duplicates()
    table.eliminate_zeros()
    return table
