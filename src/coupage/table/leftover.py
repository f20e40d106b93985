"""Orders for tasters who do not fill a whole Williams square: as even as so few orders can be."""

from __future__ import annotations

from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

__all__ = ["even_rows"]

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
_ENUMERATE = 20_000
_STARTS = 40
_KICKS = 30
_POLISH_CELLS = 150


def even_rows(square: IntArray, k: int, rng: np.random.Generator) -> IntArray:
    """Orders for k tasters, near to even in positions and in ordered neighbour pairs.

    Parameters
    ----------
    square : (r, n) array of int
        The orders of a Williams square.
    k : int
        Number of tasters, from 1 to r - 1.
    rng : numpy.random.Generator

    Returns
    -------
    (k, n) array of int
    """
    gram = _features(square, k)
    gram = gram @ gram.T
    rows = square[_best_subset(gram, k, rng)]
    return _polish(rows, rng) if rows.size <= _POLISH_CELLS else rows


def _features(rows: IntArray, k: int) -> FloatArray:
    """One line per order; over k orders the lines add up to counts whose squares are to be small.

    Positions and neighbour pairs count alike. The last n entries, places off the middle, are so
    small that they only decide between choices that are level otherwise: then each sample's
    average place comes as near to the middle as it can.
    """
    r, n = rows.shape
    line = np.zeros((r, 2 * n * n + n))
    own = np.arange(r)[:, None]
    line[own, rows * n + np.arange(n)] = 1
    line[own, n * n + rows[:, :-1] * n + rows[:, 1:]] = 1
    # |sum over k| < k n / 2 per sample, so that all n squares together stay below 1 / n.
    line[own, 2 * n * n + rows] = (np.arange(n) - (n - 1) / 2) * 2 / (k * n**2)
    return line


def _best_subset(gram: FloatArray, k: int, rng: np.random.Generator) -> IntArray:
    """The most even k rows: of all subsets while they are few, else by exchange."""
    total = len(gram)
    if comb(total, k) <= _ENUMERATE:
        subsets = np.array(list(combinations(range(total), k)))
        scores = gram[subsets[:, :, None], subsets[:, None, :]].sum(axis=(1, 2))
        best: IntArray = subsets[int(np.argmin(scores))]
        return best
    tried = [_exchange(gram, rng.permutation(total)[:k]) for _ in range(_STARTS)]
    return min(tried, key=lambda chosen: float(gram[np.ix_(chosen, chosen)].sum()))


def _exchange(gram: FloatArray, chosen: IntArray) -> IntArray:
    """Swap one row in and one out, the best swap each time, until no swap helps."""
    inside = np.zeros(len(gram), dtype=bool)
    inside[chosen] = True
    own = np.diag(gram)
    while True:
        pull = gram[:, inside].sum(axis=1)
        out, into = np.flatnonzero(inside), np.flatnonzero(~inside)
        change = (own[out] - 2 * pull[out])[:, None] + (own[into] + 2 * pull[into])[None, :]
        change -= 2 * gram[np.ix_(out, into)]
        at = np.unravel_index(int(np.argmin(change)), change.shape)
        if change[at] >= -1e-12:
            return np.flatnonzero(inside)
        inside[out[at[0]]], inside[into[at[1]]] = False, True


def _polish(rows: IntArray, rng: np.random.Generator) -> IntArray:
    """Trade places within orders while that evens the counts, with a few random restarts.

    For odd n no k rows of the square need be as even as k free orders can be.
    """
    best, score = _descend(rows)
    for _ in range(_KICKS):
        trial = best.copy()
        for r in rng.integers(len(rows), size=2):
            pair = rng.permutation(rows.shape[1])[:2]
            trial[r, pair] = trial[r, pair[::-1]]
        trial, reached = _descend(trial)
        if reached <= score:
            best, score = trial, reached
    return best


def _descend(rows: IntArray) -> tuple[IntArray, float]:
    """The best trade of two places in one order, until none helps; with the score reached."""
    rows = rows.copy()
    k, n = rows.shape
    trades = np.array(list(combinations(range(n), 2)), dtype=np.int64).reshape(-1, 2)
    places = np.tile(np.arange(n), (len(trades), 1))
    np.put_along_axis(places, trades, trades[:, ::-1], axis=1)
    lines = _features(rows, k)
    while True:
        total = lines.sum(axis=0)
        score = float(total @ total)
        best, move = score - 1e-9, None
        for r in range(k if len(trades) else 0):
            candidates = rows[r][places]
            traded = _features(candidates, k)
            scores = ((total - lines[r] + traded) ** 2).sum(axis=1)
            at = int(np.argmin(scores))
            if scores[at] < best:
                best, move = float(scores[at]), (r, candidates[at], traded[at])
        if move is None:
            return rows, score
        rows[move[0]], lines[move[0]] = move[1], move[2]
