"""Exchange over recipes: from a list first, then over continuous proportions.

References
----------
.. [1] Fedorov VV (1972), Theory of Optimal Experiments, Academic Press, section 3.2.
.. [2] Piepel GF, Cooley SK, Jones B (2005), Construction of a 21-component layered mixture
   experiment design using a new mixture coordinate-exchange algorithm, Quality Engineering
   17:579-594.
"""

from __future__ import annotations

import numpy as np

from coupage.mixture.basis import Basis
from coupage.mixture.candidates import Neighbours
from coupage.mixture.criteria import Score
from coupage.mixture.limits import Floats

__all__ = ["search"]

Picks = np.ndarray[tuple[int], np.dtype[np.int64]]
_GAIN = 1e-10
_WORTH = 1e-6  # a round that gains less than this share is not worth another
_MOST_PASSES = 60
_COARSE = 6
_ALIKE = 1e-9  # values as near as this are of mirrored designs, or of one
_SURE = 4
_TRIES_SETTLED = 3


def search(
    score: Score,
    basis: Basis,
    listed: Floats,
    neighbours: Neighbours,
    fixed: Floats,
    free: int,
    *,
    sizes: tuple[float, ...],
    starts: int,
    rng: np.random.Generator,
) -> Floats | None:
    """Return the best ``free`` recipes (free, q) beside the ``fixed`` ones; None when singular.

    Random starts are exchanged over the list, the better half refined by the coarse moves of
    ``sizes``. Then, as often again, a quarter of the best design is replaced at random, exchanged
    and refined: local optima lie together, so this finds better ones than fresh starts do.
    """
    rows = basis.rows(listed)
    kept = basis.rows(fixed) if len(fixed) else np.empty((0, rows.shape[1]))
    coarse = sizes[:_COARSE]
    starts_found = _list_starts(score, rows, kept, free, starts, rng)
    if not starts_found:
        return None
    best = np.inf, listed[starts_found[0][1]]
    for _, picks in starts_found[: max(1, starts // 2)]:
        x = listed[picks]
        value = _refine(score, basis, neighbours, kept, x, coarse)
        if value < best[0] - _GAIN:
            best = value, x
    # One optimum alone, and no move improves it: the search is over but for a few tries.
    settled = len(starts_found) == 1 and best[0] > starts_found[0][0] - _GAIN
    for _ in range(_TRIES_SETTLED if settled else starts):
        pool = np.concatenate([best[1], listed])
        picks = np.arange(free)
        out = rng.choice(free, -(-free // 4), replace=False)
        picks[out] = rng.integers(len(pool), size=len(out))
        if not np.isfinite(_exchange_list(score, basis.rows(pool), kept, picks)):
            continue
        x = pool[picks]
        value = _refine(score, basis, neighbours, kept, x, coarse)
        if value < best[0] - _GAIN:
            best = value, x
            settled = False
    if not settled:
        _refine(score, basis, neighbours, kept, best[1], sizes[_COARSE:])
    return best[1]


def _list_starts(
    score: Score, rows: Floats, kept: Floats, free: int, starts: int, rng: np.random.Generator
) -> list[tuple[float, Picks]]:
    """Designs of different value, the best first; fewer starts when the best keeps coming back."""
    found: list[tuple[float, Picks]] = []
    again = 0
    for _ in range(starts):
        picks = _random_start(rows, kept, free, rng)
        value = _exchange_list(score, rows, kept, picks)
        if not np.isfinite(value):
            continue
        if found and abs(value - found[0][0]) <= _ALIKE * max(1.0, abs(value)):
            again += 1
            if again == _SURE:
                break
        elif all(abs(value - other) > _ALIKE for other, _ in found):
            if not found or value < found[0][0]:
                again = 0
            found.append((value, picks))
            found.sort(key=lambda pair: pair[0])
    return found


def _random_start(rows: Floats, kept: Floats, free: int, rng: np.random.Generator) -> Picks:
    """A third of the rows at random, the others one by one where the doubt is largest."""
    picks = list(rng.integers(len(rows), size=-(-free // 3)))
    chosen = np.concatenate([kept, rows[picks]])
    inverse = np.linalg.inv(1e-4 * np.eye(rows.shape[1]) + chosen.T @ chosen)
    reach = rows @ inverse
    doubt = np.einsum("cr,cr->c", reach, rows)
    while len(picks) < free:
        best = int(np.argmax(doubt))
        picks.append(best)
        # Rank-one update: everything that best tells leaves the doubt of the others.
        toward = reach @ rows[best]
        left = 1 + doubt[best]
        reach = reach - np.outer(toward, reach[best]) / left
        doubt = doubt - toward**2 / left
    return np.array(picks, dtype=np.int64)


def _exchange_list(score: Score, rows: Floats, kept: Floats, picks: Picks) -> float:
    """Carry out the best exchange until none helps; ``picks`` is changed in place."""
    value = score.start(np.concatenate([kept, rows[picks]]))
    if not np.isfinite(value):
        return value
    for _ in range(20 * len(picks) + 50):
        table = score.exchanged(rows[picks], rows)
        out, into = np.unravel_index(int(np.argmin(table)), table.shape)
        if not table[out, into] < value - _GAIN * max(1.0, abs(value)):
            break
        before = picks[out]
        picks[out] = into
        now = score.start(np.concatenate([kept, rows[picks]]))
        if not now < value:
            picks[out] = before
            return score.start(np.concatenate([kept, rows[picks]]))
        value = now
    return value


def _refine(
    score: Score,
    basis: Basis,
    neighbours: Neighbours,
    kept: Floats,
    x: Floats,
    sizes: tuple[float, ...],
) -> float:
    """Move recipes by ever smaller steps while that helps; ``x`` is changed in place."""
    value = score.start(np.concatenate([kept, basis.rows(x)]))
    for size in sizes:
        to_corners = False
        for _ in range(_MOST_PASSES):
            moved, fine = neighbours.around(x, size, to_corners=to_corners)
            n, k, q = moved.shape
            into = basis.rows(moved.reshape(-1, q)).reshape(n, k, -1)
            table = np.where(fine, score.exchanged(basis.rows(x), into), np.inf)
            best = table.argmin(axis=1)
            each = table[np.arange(n), best]
            order = np.argsort(each, kind="stable")
            count = int((each < value - _GAIN * max(1.0, abs(value))).sum())
            before = value
            if count:
                value = _move_together(score, basis, kept, x, moved, best, order[:count], value)
            if value > before - _WORTH * abs(before):
                if to_corners or not len(neighbours.corners):
                    break
                to_corners = True
            else:
                to_corners = False
    return value


def _move_together(
    score: Score,
    basis: Basis,
    kept: Floats,
    x: Floats,
    moved: Floats,
    best: Picks,
    order: Picks,
    value: float,
) -> float:
    """Carry out all promising moves at once, or fewer of them, down to the best one alone."""
    count = len(order)
    while True:
        some = order[:count]
        before = x[some].copy()
        x[some] = moved[some, best[some]]
        now = score.start(np.concatenate([kept, basis.rows(x)]))
        if now < value or count == 1:
            if now >= value:  # rounding: the promised gain was not there
                x[some] = before
                return score.start(np.concatenate([kept, basis.rows(x)]))
            return now
        x[some] = before
        count = max(1, count // 3)
