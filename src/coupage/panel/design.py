"""The terms of the model as columns, and what each of them says about a future cup.

One rating is a row; its expectation is a sum over terms, each with its own effects (columns) and
one standard deviation. What is asked of the model afterwards are *coefficients*: intensity of each
component, departure of each pair seen together, effect of each batch, slope of age, effect of each
pass. A term's ``target`` says how its effects add up to them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.panel.columns import Ratings, Samples
from coupage.panel.priors import Priors

__all__ = ["Layout", "Term", "build_layout", "build_terms", "sample_features"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Term:
    """One line of the model's equation.

    Attributes
    ----------
    sd
        Scale of the half-normal prior of the effects' standard deviation when ``estimated``,
        else that standard deviation itself.
    columns
        (n, c) what each effect adds to each rating.
    target
        (t, c) what each effect adds to each coefficient.
    """

    name: str
    sd: float
    estimated: bool
    columns: sparse.csr_array
    target: sparse.csr_array


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each coefficient stands: components, pairs seen, batches, age, passes."""

    components: int
    pairs: tuple[tuple[int, int], ...]
    batches: int
    passes: int

    @property
    def first_pair(self) -> int:
        return self.components

    @property
    def first_batch(self) -> int:
        return self.components + len(self.pairs)

    @property
    def age(self) -> int:
        return self.first_batch + self.batches

    @property
    def first_pass(self) -> int:
        return self.age + 1

    @property
    def size(self) -> int:
        return self.first_pass + self.passes


def build_layout(samples: Samples, rated: Codes, passes: int) -> Layout:
    """Coefficients for these samples; ``rated`` are the samples that got a rating."""
    pairs: set[tuple[int, int]] = set()
    pointer, member = samples.shares.indptr, samples.shares.indices
    for s in rated.tolist():
        inside = sorted(member[pointer[s] : pointer[s + 1]].tolist())
        pairs.update((a, b) for i, a in enumerate(inside) for b in inside[i + 1 :])
    return Layout(len(samples.components), tuple(sorted(pairs)), len(samples.batches), passes)


def pair_shares(samples: Samples, pairs: tuple[tuple[int, int], ...]) -> sparse.csr_array:
    """(S, pairs) products of proportions."""
    if not pairs:
        return sparse.csr_array((len(samples.names), 0))
    index = {pair: k for k, pair in enumerate(pairs)}
    pointer, member, share = samples.shares.indptr, samples.shares.indices, samples.shares.data
    rows, cols, values = [], [], []
    for s in range(len(samples.names)):
        here = slice(pointer[s], pointer[s + 1])
        inside = sorted(zip(member[here].tolist(), share[here].tolist(), strict=True))
        for i, (a, x) in enumerate(inside):
            for b, z in inside[i + 1 :]:
                if (k := index.get((a, b))) is not None:
                    rows.append(s)
                    cols.append(k)
                    values.append(x * z)
    shape = (len(samples.names), len(pairs))
    return sparse.csr_array((values, (rows, cols)), shape=shape)


def sample_features(samples: Samples, layout: Layout) -> sparse.csr_array:
    """(S, t) what each coefficient adds to the true intensity of each sample at reference age."""
    empty = sparse.csr_array((len(samples.names), 1 + layout.passes))
    blocks = [samples.shares, pair_shares(samples, layout.pairs), samples.batch_shares, empty]
    return sparse.csr_array(sparse.hstack(blocks, format="csr"))


def build_terms(
    ratings: Ratings, samples: Samples, layout: Layout, priors: Priors, rows: Codes
) -> list[Term]:
    """Terms for the ratings in ``rows``; a term without columns is left out."""
    sample = ratings.sample[rows]
    n, q = len(rows), layout.components
    shares = samples.shares
    terms: list[Term] = []

    def add(
        name: str, sd: float, columns: sparse.csr_array, first: int, estimated: bool = True
    ) -> None:
        """Effects that are themselves coefficients, from ``first`` on."""
        width = columns.shape[1]
        at = (np.ones(width), (np.arange(first, first + width), np.arange(width)))
        target = sparse.csr_array(at, shape=(layout.size, width))
        terms.append(Term(name, sd, estimated, columns, target))

    def add_shared(name: str, sd: float, weights: sparse.csr_array, estimated: bool) -> None:
        """Effects that components share: ``weights`` (q, c)."""
        below = sparse.csr_array((layout.size - q, weights.shape[1]))
        target = sparse.csr_array(sparse.vstack([weights, below], format="csr"))
        terms.append(
            Term(name, sd, estimated, sparse.csr_array((shares @ weights)[sample]), target)
        )

    def add_nuisance(name: str, sd: float, code: Codes, width: int) -> None:
        nothing = sparse.csr_array((layout.size, width))
        terms.append(Term(name, sd, True, indicator(code, width), nothing))

    add_shared("mean", priors.mean_sd, sparse.csr_array(np.ones((q, 1))), False)
    if samples.feature_names:
        add_shared("feature", priors.feature, sparse.csr_array(samples.features), False)
    if samples.nested:
        add_shared("lot", priors.coffee, indicator(samples.lot, len(samples.lots)), True)
    name, sd = ("approach", priors.approach) if samples.nested else ("coffee", priors.coffee)
    add(name, sd, shares[sample], 0)
    # Pairs and age stay when the table shows none: their priors rule what is asked of them later.
    add("pairing", priors.pairing, pair_shares(samples, layout.pairs)[sample], layout.first_pair)
    if layout.batches:
        add("batch", priors.batch, samples.batch_shares[sample], layout.first_batch)
    add("age", priors.age, sparse.csr_array(samples.age[sample][:, None]), layout.age, False)
    if layout.passes > 1:
        terms.append(_pass_term(ratings.pass_[rows], layout, priors))
    add_nuisance("taster", priors.taster, ratings.taster[rows], len(ratings.tasters))
    add_nuisance("cupping", priors.cupping, ratings.cupping[rows], len(ratings.cuppings))
    cell = ratings.taster[rows] * len(samples.names) + sample
    cells, code = np.unique(cell, return_inverse=True)
    if len(cells) < n:
        add_nuisance("disagreement", priors.disagreement, code, len(cells))
    return terms


def _pass_term(pass_: Codes, layout: Layout, priors: Priors) -> Term:
    """Passes by contrasts that sum to zero, so that a coffee's own coefficient is its average."""
    p = layout.passes
    contrasts = np.linalg.svd(np.eye(p) - 1 / p)[0][:, : p - 1]
    target = np.zeros((layout.size, p - 1))
    target[layout.first_pass :] = contrasts
    return Term(
        "passes",
        priors.passes,
        False,
        sparse.csr_array(indicator(pass_, p) @ contrasts),
        sparse.csr_array(target),
    )


def indicator(code: Codes, width: int) -> sparse.csr_array:
    """One column a level, 1 where the row has it."""
    n = len(code)
    return sparse.csr_array((np.ones(n), code, np.arange(n + 1)), shape=(n, width))
