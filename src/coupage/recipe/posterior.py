"""Beliefs of one attribute, arranged for many cups of few coffees out of many."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from coupage.recipe.desirability import ChanceBeliefs
from coupage.recipe.lattice import Folding, folding, pair_positions

__all__ = ["MixtureBeliefs", "Posterior", "read_posterior"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class MixtureBeliefs(ChanceBeliefs, Protocol):
    """The part of ``coupage.panel.Beliefs`` that a choice is made from."""

    def mixture(self, attribute: str) -> Any:
        """Mixture of Gaussians with ``weights``, ``means`` and ``covariances`` of the terms."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """A mixture of K Gaussians over the terms of q coffees.

    Only d terms are held in full. The rest (pairs that no cup ever held) are independent of
    everything, with mean 0 and, in part k, variance ``unseen[k]``.

    Attributes
    ----------
    weights : (K,)
    means : (K, d + 1), covariances : (K, (d + 1)**2)
        Of the held terms, with a term of zeros behind them that stands in for unseen ones.
    unseen : (K,)
    place : (q, q) int
        Where the term of a pair (on the diagonal: of a coffee) is held; d when it is not.
    shapes : (r, (d + 1)**2), shapes_unseen : (r,), rest
        Principal parts of the covariances: for any symmetric weights f on their entries,
        sum_k w_k (covariance_k . f)**2 lies within 0 and ``rest * |f|**2`` above
        sum_r (shape_r . f)**2. Few of them carry nearly all.
    mean, within, between
        Weighted mean of the means (d + 1,) and of the covariances ((d + 1)**2,), and weighted
        covariance of the means ((d + 1)**2,).
    """

    weights: Floats
    means: Floats
    covariances: Floats
    unseen: Floats
    place: Ints
    shapes: Floats
    shapes_unseen: Floats
    rest: float
    mean: Floats
    within: Floats
    between: Floats

    @property
    def parts(self) -> int:
        return len(self.weights)

    def mean_coefficients(self, cups: Ints) -> Floats:
        """Coefficients (n, monomials) of the mean of each cup (n, k)."""
        terms, fold = self._terms(cups), folding(cups.shape[1])
        return np.asarray(self.mean[terms] @ fold.mean)

    def spread_coefficients(self, cups: Ints) -> tuple[Floats, Floats]:
        """Coefficients of degree 4, each (n, monomials): mean variance within the parts, and
        variance of their means.
        """
        terms, fold = self._terms(cups), folding(cups.shape[1])
        flat, diagonal = self._entries(terms, fold)
        within = self.within[flat]
        within[:, diagonal] += (terms == self._nothing) * (self.weights @ self.unseen)
        return within @ fold.quadratic_form, self.between[flat] @ fold.quadratic_form

    def part_coefficients(self, cups: Ints) -> tuple[Floats, Floats]:
        """Coefficients of each part's mean and variance, (K, n, monomials) each."""
        terms, fold = self._terms(cups), folding(cups.shape[1])
        flat, diagonal = self._entries(terms, fold)
        sigma = self.covariances[:, flat]
        sigma[:, :, diagonal] += self.unseen[:, None, None] * (terms == self._nothing)
        return self.means[:, terms] @ fold.mean, sigma @ fold.quadratic_form

    def shape_coefficients(self, cups: Ints) -> Floats:
        """Coefficients of degree 4 of each principal shape, (n, r, monomials).

        The sum of their squared values is the mean square of the parts' variances, too small by at
        most ``rest`` times the fourth power of the length of the terms.
        """
        terms, fold = self._terms(cups), folding(cups.shape[1])
        flat, diagonal = self._entries(terms, fold)
        sigma = self.shapes.T[flat]
        sigma[:, diagonal] += (terms == self._nothing)[:, :, None] * self.shapes_unseen
        return np.asarray(np.swapaxes(sigma, 1, 2) @ fold.quadratic_form)

    @property
    def _nothing(self) -> int:
        return int(self.means.shape[1]) - 1

    def _terms(self, cups: Ints) -> Ints:
        """Held position of each term of each cup (n, t): the coffees, then the pairs i < j."""
        first, second = np.triu_indices(cups.shape[1], 1)
        pairs = self.place[cups[:, first], cups[:, second]]
        return np.hstack([self.place[cups, cups], pairs])

    def _entries(self, terms: Ints, fold: Folding) -> tuple[Ints, Ints]:
        rows, columns = fold.upper
        flat = terms[:, rows] * self.means.shape[1] + terms[:, columns]
        return flat, np.flatnonzero(rows == columns)


def read_posterior(beliefs: MixtureBeliefs, attribute: str, places: Ints) -> Posterior:
    """Arrange an attribute's beliefs for the candidates at ``places`` among the components."""
    from coupage.panel import Beliefs

    if isinstance(beliefs, Beliefs):
        # Full covariances of 40 coffees would hold 820 terms, nearly all of them never cupped.
        held = beliefs.restrict([beliefs.components[i] for i in places])
        part = held.parts[held.attributes.index(attribute)]
        q, pairs = len(places), held.layout.pairs
        block = part.block(np.arange(q + len(pairs)))
        place = np.full((q, q), q + len(pairs), dtype=np.int64)
        place[np.arange(q), np.arange(q)] = np.arange(q)
        for n, (i, j) in enumerate(pairs):
            place[i, j] = place[j, i] = q + n
        return _arrange(block.weights, block.means, block.covariances, part.pair_variance, place)
    mixture = beliefs.mixture(attribute)
    table = pair_positions(len(beliefs.components))[np.ix_(places, places)]
    used, place = np.unique(table, return_inverse=True)
    means, covariances = mixture.means, mixture.covariances
    if len(used) < means.shape[1]:
        means, covariances = means[:, used], covariances[:, used[:, None], used]
    return _arrange(
        np.asarray(mixture.weights, dtype=float),
        np.asarray(means, dtype=float),
        np.asarray(covariances, dtype=float),
        np.zeros(len(mixture.weights)),
        place.reshape(table.shape).astype(np.int64),
    )


def _arrange(
    weights: Floats, means: Floats, covariances: Floats, unseen: Floats, place: Ints
) -> Posterior:
    k, d = means.shape
    wide_means, wide = np.zeros((k, d + 1)), np.zeros((k, d + 1, d + 1))
    wide_means[:, :d] = means
    wide[:, :d, :d] = covariances
    weights = weights / weights.sum()
    mean = weights @ wide_means
    away = wide_means - mean
    shapes, shapes_unseen, rest = _principal(weights, wide.reshape(k, -1), unseen)
    return Posterior(
        shapes=shapes,
        shapes_unseen=shapes_unseen,
        rest=rest,
        weights=weights,
        means=wide_means,
        covariances=wide.reshape(k, -1),
        unseen=unseen,
        place=place,
        mean=mean,
        within=weights @ wide.reshape(k, -1),
        between=((weights * away.T) @ away).ravel(),
    )


def _principal(
    weights: Floats, covariances: Floats, unseen: Floats
) -> tuple[Floats, Floats, float]:
    """Principal axes of the parts' covariances, with all unseen pairs as one more entry.

    Their mean square as a quadratic form of the weights f on the entries has the eigenvalues of a
    K by K Gram matrix; what is cut off is at most the largest eigenvalue left out times |f|**2.
    """
    root = np.sqrt(weights)[:, None]
    gram = root * (covariances @ covariances.T + np.outer(unseen, unseen)) * root.T
    values, vectors = np.linalg.eigh(gram)
    values = np.maximum(values[::-1], 0)
    # The middle variance of a straight coffee sets the scale; a blend of four has |f|**2 near 0.1.
    size = round(covariances.shape[1] ** 0.5)
    typical = np.median((weights @ covariances).reshape(size, size).diagonal()[:-1])
    enough = values <= 0.02 * typical**2
    count = max(1, int(enough.argmax())) if enough.any() else len(values)
    turn = (vectors[:, ::-1][:, :count] * root).T
    rest = float(values[count]) if count < len(values) else 0.0
    return turn @ covariances, turn @ unseen, rest
