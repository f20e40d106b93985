r"""Every way to share a cup among k coffees on a step, and polynomials over all of them at once.

With shares that sum to 1 each linear term is a quadratic one, :math:`x_i = x_i \sum_j x_j`, so a
Scheffe mean :math:`z'\mu`, with z the linear and pair terms, is a homogeneous quadratic and its
variance :math:`z'\Sigma z` a homogeneous quartic. The values of all monomials of a degree at all
compositions form one matrix; a polynomial for each of many cups, at every composition, is then one
matrix product.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations, combinations_with_replacement
from math import comb, factorial, prod

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Cells",
    "Folding",
    "Lattice",
    "cells",
    "compositions",
    "folding",
    "lattice",
    "pair_positions",
    "steepest",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Folding:
    """How coefficients over the terms z of k coffees become coefficients of monomials.

    With t = k + k(k-1)/2 terms:

    Attributes
    ----------
    mean : (t, monomials of degree 2)
        ``mu @ mean`` are the coefficients of z'mu.
    upper : (2, u)
        Row and column of each entry of the upper triangle of a (t, t) matrix, u = t(t+1)/2.
    quadratic_form : (u, monomials of degree 4)
        ``sigma[upper] @ quadratic_form`` are the coefficients of z'sigma z, sigma symmetric.
    powers2, powers4 : (monomials, k)
        Exponents of the monomials of each degree.
    repeats4 : (monomials of degree 4,)
        How often each occurs in the fourth power of the sum of the shares: coefficients divided by
        it are Bernstein coefficients.
    """

    mean: Floats
    upper: tuple[Ints, Ints]
    quadratic_form: Floats
    powers2: Ints
    powers4: Ints
    repeats4: Floats


def _powers(k: int, degree: int) -> list[tuple[int, ...]]:
    every = combinations_with_replacement(range(k), degree)
    return [tuple(chosen.count(i) for i in range(k)) for chosen in every]


def _repeats(powers: list[tuple[int, ...]]) -> Floats:
    return np.array([factorial(sum(p)) / prod(map(factorial, p)) for p in powers])


def _add(a: tuple[int, ...], b: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(i + j for i, j in zip(a, b, strict=True))


@lru_cache(maxsize=16)
def folding(k: int) -> Folding:
    """Foldings for cups of k coffees; z has the linear terms first, then the pairs i < j."""
    two, four = (_powers(k, degree) for degree in (2, 4))
    place2 = {p: n for n, p in enumerate(two)}
    place4 = {p: n for n, p in enumerate(four)}
    unit = [tuple(int(i == j) for j in range(k)) for i in range(k)]
    pairs = list(combinations(range(k), 2))
    terms = k + len(pairs)
    # Row a: the monomials of degree 2 whose sum the term z_a is.
    mean = np.zeros((terms, len(two)))
    for i in range(k):
        for j in range(k):
            mean[i, place2[_add(unit[i], unit[j])]] = 1
    for n, (i, j) in enumerate(pairs):
        mean[k + n, place2[_add(unit[i], unit[j])]] = 1
    product4 = np.array([[place4[_add(a, b)] for b in two] for a in two])
    upper = np.triu_indices(terms)
    quadratic_form = np.zeros((len(upper[0]), len(four)))
    for n, (a, b) in enumerate(zip(*upper, strict=True)):
        both = np.outer(mean[a], mean[b]) * (1 if a == b else 2)
        np.add.at(quadratic_form[n], product4, both)
    return Folding(
        mean=mean,
        upper=upper,
        quadratic_form=quadratic_form,
        powers2=np.array(two),
        powers4=np.array(four),
        repeats4=_repeats(four),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Compositions of k coffees, n of them.

    Attributes
    ----------
    steps : (n, k) whole steps that sum to ``parts``
    shares : (n, k)
    degree2, degree4 : (monomials, n)
    lengths : (n,)
        Fourth power of the length of the vector of terms (shares and pair products).
    numbers : (n,) int
        Place of each among all compositions, of which there are ``total``.
    """

    steps: Ints
    shares: Floats
    degree2: Floats
    degree4: Floats
    fold: Folding
    lengths: Floats
    numbers: Ints
    total: int

    def take(self, columns: Ints) -> Lattice:
        """Only some of the compositions."""
        return replace(
            self,
            steps=self.steps[columns],
            shares=self.shares[columns],
            degree2=self.degree2[:, columns],
            degree4=self.degree4[:, columns],
            lengths=self.lengths[columns],
            numbers=self.numbers[columns],
        )


@lru_cache(maxsize=32)
def lattice(k: int, parts: int, least: int) -> Lattice:
    """Every composition of ``parts`` steps over k coffees with at least ``least`` steps each."""
    steps = compositions(k, parts, least)
    shares = steps / parts
    fold = folding(k)
    squares = np.square(shares)
    pairs = (np.square(squares.sum(axis=1)) - np.square(squares).sum(axis=1)) / 2
    return Lattice(
        lengths=np.square(squares.sum(axis=1) + pairs),
        steps=steps,
        shares=shares,
        degree2=_monomials(shares, fold.powers2),
        degree4=_monomials(shares, fold.powers4),
        fold=fold,
        numbers=np.arange(len(steps)),
        total=len(steps),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Compositions of a fine lattice gathered around those of a coarse one.

    Attributes
    ----------
    degree2 : (monomials, c)
        Monomials at the centre of each cell.
    radius
        Largest share that has to change hands between a composition and its centre.
    order, starts
        ``order[starts[i]:starts[i + 1]]`` are the compositions of cell i.
    """

    degree2: Floats
    radius: float
    order: Ints
    starts: Ints

    def members(self, chosen: NDArray[np.bool_]) -> Ints:
        """Compositions of the chosen cells, ascending."""
        inside = np.repeat(chosen, np.diff(self.starts))
        return np.sort(self.order[inside])


@lru_cache(maxsize=8)
def cells(k: int, parts: int, least: int, coarse: int) -> Cells:
    """Gather the compositions of ``lattice(k, parts, least)`` on ``coarse`` steps to 1."""
    shares = lattice(k, parts, least).shares
    exact = shares * coarse
    centres = np.floor(exact + 1e-9)
    left = np.round(coarse - centres.sum(axis=1)).astype(np.int64)
    rank = np.argsort(np.argsort(centres - exact, axis=1, kind="stable"), axis=1, kind="stable")
    centres += rank < left[:, None]
    code = centres @ (float(coarse + 1) ** np.arange(k))
    _, first, cell = np.unique(code, return_index=True, return_inverse=True)
    order = np.argsort(cell, kind="stable")
    return Cells(
        degree2=_monomials(centres[first] / coarse, folding(k).powers2),
        radius=float(np.abs(shares - centres / coarse).sum(axis=1).max() / 2),
        order=order,
        starts=np.searchsorted(cell[order], np.arange(len(first) + 1)),
    )


def compositions(k: int, parts: int, least: int) -> Ints:
    """All rows of k whole numbers >= ``least`` that sum to ``parts``, in lexicographic order.

    Examples
    --------
    >>> compositions(2, 4, 1).tolist()
    [[1, 3], [2, 2], [3, 1]]
    """
    spare = parts - k * least
    if spare < 0:
        return np.zeros((0, k), dtype=np.int64)
    if k == 1:
        return np.array([[parts]], dtype=np.int64)
    # Stars and bars: k - 1 bars among spare + k - 1 places.
    count = comb(spare + k - 1, k - 1)
    flat = (place for bars in combinations(range(spare + k - 1), k - 1) for place in bars)
    bars = np.fromiter(flat, dtype=np.int64, count=count * (k - 1)).reshape(count, k - 1)
    edges = np.column_stack([np.full(count, -1), bars, np.full(count, spare + k - 1)])
    return np.diff(edges, axis=1) - 1 + least


def _monomials(shares: Floats, powers: Ints) -> Floats:
    out = np.ones((len(powers), len(shares)))
    for i in range(shares.shape[1]):
        ladder = shares[:, i] ** np.arange(powers.max() + 1)[:, None]
        out *= ladder[powers[:, i]]
    return out


def steepest(quadratic: Floats, k: int) -> Floats:
    """Most that a homogeneous quadratic (n, monomials) can change per share that changes hands.

    Its slope from coffee i to coffee j is linear in the shares, so it is steepest at a corner.
    """
    place = {tuple(p): n for n, p in enumerate(folding(k).powers2.tolist())}
    unit = np.eye(k, dtype=int)
    table = np.array(
        [[place[tuple((unit[i] + unit[j]).tolist())] for j in range(k)] for i in range(k)]
    )
    slopes = quadratic[:, table] * (1 + np.eye(k))
    return np.asarray((slopes.max(axis=1) - slopes.min(axis=1)).max(axis=1))


def pair_positions(q: int) -> Ints:
    """Table (q, q) of where the term of components i and j stands among all p terms.

    The diagonal holds the linear terms.
    """
    table = np.zeros((q, q), dtype=np.int64)
    for position, (i, j) in enumerate(combinations(range(q), 2), start=q):
        table[i, j] = table[j, i] = position
    table[np.arange(q), np.arange(q)] = np.arange(q)
    return table
