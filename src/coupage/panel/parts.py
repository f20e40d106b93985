"""What is believed of one attribute, behind the questions that Beliefs asks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.panel.gaussians import GaussianMixture, Line

__all__ = [
    "Doubt",
    "IntegratedPart",
    "Part",
    "TasterFacts",
    "load_part",
    "register",
    "store_common",
]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Arrays = dict[str, NDArray[Any]]


@dataclass(frozen=True, slots=True)
class TasterFacts:
    """Figures on T tasters: ratings given, bias, variance of the signal they met, agreement."""

    ratings: Floats
    bias_mean: Floats
    bias_sd: Floats
    signal: Floats
    agreement: Floats


@dataclass(frozen=True, slots=True)
class Doubt:
    """Equally likely draws of the standard deviations: (n, m) by ``names``, noise (n,), (n, T).

    ``effective`` is the effective sample size behind them, ``rounds`` how often the proposal was
    rebuilt; both 0 for a posterior mode, whose draws are all alike.
    """

    names: tuple[str, ...]
    terms: Floats
    noise: Floats
    own_noise: Floats
    effective: float
    rounds: int

    def of(self, name: str) -> Floats | None:
        return self.terms[:, self.names.index(name)] if name in self.names else None

    def mean_square(self, name: str) -> float:
        values = self.noise if name == "noise" else self.of(name)
        return 0.0 if values is None else float(np.square(values).mean())


class Part(Protocol):
    """Beliefs of one attribute on its t coefficients, and on pairs that were never seen."""

    @property
    def doubt(self) -> Doubt: ...
    @property
    def tasters(self) -> TasterFacts: ...
    @property
    def pair_variance(self) -> Floats: ...

    def line(self, features: sparse.csr_array, unseen: Floats) -> Line:
        """Beliefs on ``features`` (rows, t) times the coefficients.

        Pairs that were never seen come on top; their squared weights sum to ``unseen`` (rows,).
        """
        ...

    def block(self, columns: Codes) -> GaussianMixture:
        """Beliefs on some coefficients together."""
        ...

    def restrict(self, columns: Codes) -> Part:
        """The same, holding only some coefficients."""
        ...

    def store(self) -> tuple[dict[str, Any], Arrays]:
        """Facts and arrays from which :func:`load_part` rebuilds the part."""
        ...


_ARRAYS = ("weights", "means", "covariances", "pair_variance")
_DOUBT = ("terms", "noise", "own_noise")
_TASTERS = ("ratings", "bias_mean", "bias_sd", "signal", "agreement")


@dataclass(frozen=True, slots=True)
class IntegratedPart:
    """A mixture of Gaussians over all coefficients, held in full."""

    weights: Floats
    means: Floats
    covariances: Floats
    pair_variance: Floats
    doubt: Doubt
    tasters: TasterFacts

    def line(self, features: sparse.csr_array, unseen: Floats) -> Line:
        used = np.unique(features.indices)
        f = features[:, used].toarray()
        inside = self.covariances[:, used[:, None], used]
        variance = np.einsum("nt,ktn->nk", f, inside @ f.T, optimize=True)
        variance += unseen[:, None] * self.pair_variance
        return Line(self.weights, f @ self.means[:, used].T, np.sqrt(np.maximum(variance, 0)))

    def block(self, columns: Codes) -> GaussianMixture:
        inside = self.covariances[:, columns[:, None], columns]
        return GaussianMixture(self.weights, self.means[:, columns], inside)

    def restrict(self, columns: Codes) -> IntegratedPart:
        inner = self.block(columns)
        return replace(self, means=inner.means, covariances=inner.covariances)

    def store(self) -> tuple[dict[str, Any], Arrays]:
        arrays = {name: getattr(self, name) for name in _ARRAYS}
        facts, common = store_common(self.doubt, self.tasters)
        return {"kind": "integrated", **facts}, {**arrays, **common}


_Loader = Callable[[dict[str, Any], Arrays, Doubt, TasterFacts], Part]
_LOADERS: dict[str, _Loader] = {}


def register(kind: str, loader: _Loader) -> None:
    """Say how parts of a kind are rebuilt."""
    _LOADERS[kind] = loader


def load_part(facts: dict[str, Any], arrays: Arrays) -> Part:
    """Rebuild a part that was stored."""
    return _LOADERS[facts["kind"]](facts, arrays, *_load_common(facts, arrays))


def _load(
    _facts: dict[str, Any], arrays: Arrays, doubt: Doubt, tasters: TasterFacts
) -> IntegratedPart:
    own = {name: arrays[name] for name in _ARRAYS}
    return IntegratedPart(**own, doubt=doubt, tasters=tasters)


register("integrated", _load)


def store_common(doubt: Doubt, tasters: TasterFacts) -> tuple[dict[str, Any], Arrays]:
    """Facts and arrays that parts of every kind have."""
    arrays = {f"doubt_{name}": getattr(doubt, name) for name in _DOUBT}
    arrays |= {f"tasters_{name}": getattr(tasters, name) for name in _TASTERS}
    facts = {"names": doubt.names, "effective": doubt.effective, "rounds": doubt.rounds}
    return facts, arrays


def _load_common(facts: dict[str, Any], arrays: Arrays) -> tuple[Doubt, TasterFacts]:
    inner = {name: arrays[f"doubt_{name}"] for name in _DOUBT}
    names = tuple(facts["names"])
    doubt = Doubt(names=names, effective=facts["effective"], rounds=facts["rounds"], **inner)
    return doubt, TasterFacts(**{name: arrays[f"tasters_{name}"] for name in _TASTERS})
