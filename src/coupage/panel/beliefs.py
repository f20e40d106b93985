"""Beliefs: what is known of every coffee and every blend of them, after the cuppings."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.errors import InputError
from coupage.panel.answers import (
    Belief,
    Comparison,
    JointComparison,
    Spread,
    TasterReport,
    beliefs_of,
    compare_line,
    joint_of,
)
from coupage.panel.design import Layout
from coupage.panel.gaussians import GaussianMixture, Line
from coupage.panel.parts import Part, load_part
from coupage.panel.priors import Priors
from coupage.panel.reading import nearest
from coupage.panel.reports import spread_of, taster_report
from coupage.panel.storage import pack, unpack

__all__ = ["MODEL_VERSION", "Beliefs"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

MODEL_VERSION = "2"
Side = str | Mapping[str, float]
_PLAIN = (
    "attributes",
    "components",
    "samples",
    "batches",
    "passes",
    "taster_names",
    "reference_age",
    "threshold",
    "method",
    "notes",
    "fingerprint",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Beliefs:
    """Posterior of the model of the table.

    A coefficient speaks of a *future* cup: the average over batches, tasters, days and passes, at
    the reference age. q components; p = q + q (q - 1) / 2 coefficients of the mixture.

    Attributes
    ----------
    attributes, components
        Names, in the order of all arrays.
    priors, reference_age, threshold
        What the fit was asked; ``threshold`` is the chance that a verdict needs.
    method
        ``"integrated"``: standard deviations integrated out; ``"mode"``: at their posterior mode.
    notes
        What a reader of the results should know, in plain sentences.
    fingerprint
        Digest of the data and settings of the fit; equal fingerprints mean equal beliefs.
    """

    attributes: tuple[str, ...]
    components: tuple[str, ...]
    samples: tuple[str, ...]
    batches: tuple[str, ...]
    passes: tuple[str, ...]
    taster_names: tuple[str, ...]
    layout: Layout
    sample_features: sparse.csr_array
    parts: tuple[Part, ...]
    priors: Priors
    reference_age: float
    threshold: float
    method: str
    notes: tuple[str, ...]
    fingerprint: str

    # ---- the mixture, for recipes -------------------------------------------------------------

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """All pairs i < j of components, in the order of the coefficients."""
        q = len(self.components)
        return tuple((i, j) for i in range(q) for j in range(i + 1, q))

    def terms(self, x: Floats) -> Floats:
        """Model terms (rows, p) of compositions ``x`` (rows, q): shares, then pair products."""
        x = self._compositions(x)
        i, j = np.triu_indices(len(self.components), 1)
        return np.hstack([x, x[:, i] * x[:, j]])

    def mixture(self, attribute: str) -> GaussianMixture:
        """Posterior of the p coefficients of one attribute; unseen pairs carry their prior."""
        part = self._part(attribute)
        columns, position, p = self._places()
        inner = part.block(columns)
        k = len(inner.weights)
        means, covariances = np.zeros((k, p)), np.zeros((k, p, p))
        unseen = np.setdiff1d(np.arange(p), position)
        covariances[:, unseen, unseen] = part.pair_variance[:, None]
        means[:, position] = inner.means
        covariances[:, position[:, None], position] = inner.covariances
        return GaussianMixture(inner.weights, means, covariances)

    def moments(self, attribute: str) -> tuple[Floats, Floats]:
        """Mean (p,) and covariance (p, p) of the coefficients."""
        return self.mixture(attribute).moments()

    def coefficients(self, attribute: str, n: int = 4000, seed: int = 0) -> Floats:
        """(n, p) posterior draws of the coefficients, independent between attributes."""
        part = self._part(attribute)
        rng = np.random.default_rng([seed, zlib.crc32(attribute.encode())])
        columns, position, p = self._places()
        inner = part.block(columns)
        of = inner.parts(n, rng)
        out = rng.standard_normal((n, p)) * np.sqrt(part.pair_variance[of])[:, None]
        out[:, position] = inner.draws(of, rng)
        return out

    def draws(self, x: Floats, attribute: str, n: int = 4000, seed: int = 0) -> Floats:
        """(n, rows) posterior draws of the mean intensity of compositions ``x`` (rows, q)."""
        return self.coefficients(attribute, n, seed) @ self.terms(x).T

    def chance_between(self, x: Floats, attribute: str, low: float, high: float) -> Floats:
        """(rows,) probability that the mean intensity lies from ``low`` to ``high``."""
        line = self._line(x, attribute)
        return np.maximum(line.below(high) - line.below(low), 0.0)

    def restrict(self, components: Sequence[str]) -> Beliefs:
        """The same beliefs over some components, in the order given."""
        names = tuple(components)
        if len(set(names)) < len(names) or not names:
            raise InputError(f"components: {list(names)} must name one or more, each once")
        chosen = [self._component(name) for name in names]
        at = {old: new for new, old in enumerate(chosen)}
        kept = [k for k, (i, j) in enumerate(self.layout.pairs) if i in at and j in at]
        pairs = tuple(
            (min(at[i], at[j]), max(at[i], at[j])) for i, j in (self.layout.pairs[k] for k in kept)
        )
        layout = Layout(len(names), pairs, 0, self.layout.passes)
        rest = np.arange(self.layout.age, self.layout.size)
        first = self.layout.first_pair
        columns = np.concatenate([chosen, first + np.array(kept, dtype=np.int64), rest])
        columns = columns.astype(np.int64)
        return replace(
            self,
            components=names,
            samples=(),
            batches=(),
            layout=layout,
            sample_features=sparse.csr_array((0, layout.size)),
            parts=tuple(part.restrict(columns) for part in self.parts),
        )

    # ---- questions ----------------------------------------------------------------------------

    def profile(
        self,
        recipe: Mapping[str, float],
        *,
        age_days: float | None = None,
        pass_name: str | None = None,
    ) -> dict[str, Belief]:
        """Belief on each attribute of a recipe, cupped or not.

        ``age_days`` asks for another age than the reference age, ``pass_name`` for one pass
        instead of their average.
        """
        features, unseen = self._recipe(recipe)
        if age_days is not None:
            features[self.layout.age] = age_days - self.reference_age
        if pass_name is not None:
            if pass_name not in self.passes:
                raise InputError(
                    f"pass_name: {pass_name!r} was not tasted; {nearest(pass_name, self.passes)}"
                )
            if self.layout.passes > 1:
                features[self.layout.first_pass + self.passes.index(pass_name)] = 1.0
        row = _row(features, self.layout.size)
        rest = np.array([sum(w * w for w in unseen.values())])
        return {
            a: beliefs_of(part.line(row, rest))[0]
            for a, part in zip(self.attributes, self.parts, strict=True)
        }

    def compare(
        self,
        a: Side,
        b: Side,
        tolerance: float | Mapping[str, float],
        *,
        threshold: float | None = None,
    ) -> dict[str, Comparison]:
        """How a and b differ in each attribute, with a verdict.

        A sample's name stands for what was on the table: its own batches are part of it. A recipe
        (component to share) stands for the average of its batches. Both are taken at the
        reference age. ``tolerance`` in points, one for all or by attribute.
        """
        level = self.threshold if threshold is None else threshold
        if not 0.5 < level < 1:
            raise InputError(f"threshold: {level!r} must lie between 0.5 and 1, such as 0.9")
        limits = self._tolerances(tolerance)
        one, unseen_one, loose_one = self._side("a", a)
        two, unseen_two, loose_two = self._side("b", b)
        features = {k: one.get(k, 0.0) - two.get(k, 0.0) for k in one.keys() | two.keys()}
        pairs = unseen_one.keys() | unseen_two.keys()
        rest = sum((unseen_one.get(k, 0.0) - unseen_two.get(k, 0.0)) ** 2 for k in pairs)
        row = _row({k: v for k, v in features.items() if v}, self.layout.size)
        out = {}
        for attribute, part in zip(self.attributes, self.parts, strict=True):
            doubt = part.doubt
            cup = 2 * (doubt.mean_square("noise") + self.priors.floor)
            cup += 2 * doubt.mean_square("disagreement")
            cup += (loose_one + loose_two) * doubt.mean_square("batch")
            line = part.line(row, np.array([rest]))
            limit = np.array([limits[attribute]])
            out[attribute] = compare_line(line, limit, level, float(np.sqrt(cup)))[0]
        return out

    def joint(
        self,
        a: Side,
        b: Side,
        tolerance: float | Mapping[str, float],
        *,
        threshold: float | None = None,
    ) -> JointComparison:
        """One verdict over all attributes together."""
        level = self.threshold if threshold is None else threshold
        return joint_of(self.compare(a, b, tolerance, threshold=threshold), level)

    def spread(self) -> dict[str, Spread]:
        """Where ratings differ: standard deviations by source, for each attribute."""
        return {a: spread_of(p) for a, p in zip(self.attributes, self.parts, strict=True)}

    def age_slope(self) -> dict[str, Belief]:
        """Points gained (lost) per day of age."""
        row = _row({self.layout.age: 1.0}, self.layout.size)
        return {
            a: beliefs_of(part.line(row, np.zeros(1)))[0]
            for a, part in zip(self.attributes, self.parts, strict=True)
        }

    def tasters(self) -> list[TasterReport]:
        """How each taster rates."""
        parts = dict(zip(self.attributes, self.parts, strict=True))
        return [taster_report(name, i, parts) for i, name in enumerate(self.taster_names)]

    # ---- keeping ------------------------------------------------------------------------------

    def to_bytes(self) -> bytes:
        """All of it as bytes for a database; :meth:`from_bytes` reverses it."""
        facts = {name: getattr(self, name) for name in _PLAIN}
        facts |= {"version": MODEL_VERSION, "priors": asdict(self.priors)}
        facts["layout"] = asdict(self.layout)
        table = self.sample_features
        arrays = {"data": table.data, "indices": table.indices, "indptr": table.indptr}
        for i, part in enumerate(self.parts):
            stored, own = part.store()
            facts[f"part{i}"] = stored
            arrays |= {f"part{i}_{name}": value for name, value in own.items()}
        return pack(facts, arrays)

    @classmethod
    def from_bytes(cls, data: bytes) -> Beliefs:
        """Beliefs that :meth:`to_bytes` wrote.

        Raises
        ------
        InputError
            When the bytes are something else or of another version of the model.
        """
        facts, arrays = unpack(data)
        if facts.get("version") != MODEL_VERSION:
            raise InputError(
                f"data: beliefs of model version {facts.get('version')!r}, this is version "
                f"{MODEL_VERSION!r}; fit the ratings again"
            )
        plain: dict[str, Any] = {
            n: tuple(v) if isinstance(v := facts[n], list) else v for n in _PLAIN
        }
        facts["priors"]["scale"] = tuple(facts["priors"]["scale"])
        shape = facts["layout"]
        pairs = tuple((int(i), int(j)) for i, j in shape["pairs"])
        layout = Layout(shape["components"], pairs, shape["batches"], shape["passes"])
        table = sparse.csr_array(
            (arrays["data"], arrays["indices"], arrays["indptr"]),
            shape=(len(plain["samples"]), layout.size),
        )
        parts = []
        for i in range(len(plain["attributes"])):
            head = f"part{i}_"
            own = {k.removeprefix(head): v for k, v in arrays.items() if k.startswith(head)}
            parts.append(load_part(facts[f"part{i}"], own))
        priors = Priors(**facts["priors"])
        return cls(**plain, layout=layout, sample_features=table, parts=tuple(parts), priors=priors)

    # ---- inside -------------------------------------------------------------------------------

    def _part(self, attribute: str) -> Part:
        if attribute not in self.attributes:
            raise InputError(
                f"attribute: {attribute!r} was not fitted; {nearest(attribute, self.attributes)}"
            )
        return self.parts[self.attributes.index(attribute)]

    def _component(self, name: str) -> int:
        if name not in self.components:
            raise InputError(
                f"components: {name!r} is not known; {nearest(name, self.components)} A coffee "
                "that was never cupped must be named to fit(extra_components=...)."
            )
        return self.components.index(name)

    def _places(self) -> tuple[Codes, Codes, int]:
        """Coefficients that are held, where they stand among the p of the mixture, and p."""
        q = len(self.components)
        seen = [q + i * (2 * q - i - 1) // 2 + j - i - 1 for i, j in self.layout.pairs]
        columns = np.arange(q + len(seen))
        return columns, np.array([*range(q), *seen], dtype=np.int64), q * (q + 1) // 2

    def _compositions(self, x: Floats) -> Floats:
        x = np.atleast_2d(np.asarray(x, dtype=np.float64))
        if x.ndim != 2 or x.shape[1] != len(self.components):
            raise InputError(
                f"x: shape {x.shape} must be (rows, {len(self.components)}), a column for each of "
                f"{', '.join(self.components[:8])}"
            )
        return x

    def _line(self, x: Floats, attribute: str) -> Line:
        x = self._compositions(x)
        i, j = (
            (np.array(v, dtype=np.int64) for v in zip(*self.layout.pairs, strict=True))
            if (self.layout.pairs)
            else (np.zeros(0, dtype=np.int64),) * 2
        )
        seen = x[:, i] * x[:, j]
        square = np.square(x)
        every = (np.square(square.sum(axis=1)) - np.square(square).sum(axis=1)) / 2
        unseen = np.maximum(every - np.square(seen).sum(axis=1), 0.0)
        rest = np.zeros((len(x), self.layout.size - len(x[0]) - len(self.layout.pairs)))
        return self._part(attribute).line(sparse.csr_array(np.hstack([x, seen, rest])), unseen)

    def _recipe(
        self, recipe: Mapping[str, float]
    ) -> tuple[dict[int, float], dict[tuple[int, int], float]]:
        """Weights on coefficients that are held and on pairs never seen."""
        shares = {self._component(name): float(share) for name, share in recipe.items() if share}
        if not all(0 < s <= 1 + 1e-9 for s in shares.values()) or (
            abs(sum(shares.values()) - 1) > 1e-6
        ):
            raise InputError(
                f"recipe: {dict(recipe)} adds up to {sum(recipe.values()):.6g}; give shares from 0 "
                "to 1 that add up to 1"
            )
        index = {pair: k for k, pair in enumerate(self.layout.pairs)}
        features, unseen = dict(shares), {}
        inside = sorted(shares)
        for k, i in enumerate(inside):
            for j in inside[k + 1 :]:
                product = shares[i] * shares[j]
                if (i, j) in index:
                    features[self.layout.first_pair + index[i, j]] = product
                else:
                    unseen[i, j] = product
        return features, unseen

    def _side(
        self, what: str, side: Side
    ) -> tuple[dict[int, float], dict[tuple[int, int], float], float]:
        """As :meth:`_recipe`; last, the sum of squared shares whose batches are not known."""
        if not isinstance(side, str):
            features, unseen = self._recipe(side)
            return features, unseen, sum(float(s) ** 2 for s in side.values())
        if side not in self.samples:
            raise InputError(f"{what}: there is no sample {side!r}; {nearest(side, self.samples)}")
        row = self.sample_features[[self.samples.index(side)]]
        features = dict(zip(row.indices.tolist(), row.data.tolist(), strict=True))
        # Pairs of a sample that was described but never rated are not among the coefficients.
        shares = {self.components[k]: v for k, v in features.items() if k < len(self.components)}
        return features, self._recipe(shares)[1], 0.0

    def _tolerances(self, tolerance: float | Mapping[str, float]) -> dict[str, float]:
        if isinstance(tolerance, Mapping):
            missing = [a for a in self.attributes if a not in tolerance]
            if missing:
                raise InputError(
                    f"tolerance: there is none for {missing[0]!r}; give all attributes"
                )
            out = {a: float(tolerance[a]) for a in self.attributes}
        else:
            out = dict.fromkeys(self.attributes, float(tolerance))
        for a, limit in out.items():
            if not (limit > 0 and np.isfinite(limit)):
                raise InputError(f"tolerance: {limit!r} for {a!r} must be a number above 0")
        return out


def _row(features: Mapping[int, float], size: int) -> sparse.csr_array:
    at = sorted(features)
    values = np.array([features[k] for k in at], dtype=np.float64)
    return sparse.csr_array((values, (np.zeros(len(at), dtype=np.int64), at)), shape=(1, size))
