"""Spread and tasters, read off the parts."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coupage.panel.answers import (
    Belief,
    Spread,
    TasterReport,
    belief_from_draws,
    belief_normal,
)
from coupage.panel.parts import Part

__all__ = ["spread_of", "taster_report"]


def spread_of(part: Part) -> Spread:
    """Where the ratings of one attribute differ."""
    doubt = part.doubt
    named = {
        "coffee": doubt.of("coffee" if "coffee" in doubt.names else "lot"),
        "approach": doubt.of("approach"),
        "pairing": doubt.of("pairing"),
        "batch": doubt.of("batch"),
        "taster": doubt.of("taster"),
        "cupping": doubt.of("cupping"),
        "disagreement": doubt.of("disagreement"),
        "cup": doubt.noise,
    }
    known = {name: values for name, values in named.items() if values is not None}
    mean = {name: float(values.mean()) for name, values in known.items()}
    ends = {name: np.quantile(values, [0.05, 0.95]) for name, values in known.items()}
    return Spread(
        coffee=mean["coffee"],
        approach=mean.get("approach"),
        pairing=mean["pairing"],
        batch=mean.get("batch"),
        taster=mean["taster"],
        cupping=mean["cupping"],
        disagreement=mean.get("disagreement"),
        cup=mean["cup"],
        low90={name: float(e[0]) for name, e in ends.items()},
        high90={name: float(e[1]) for name, e in ends.items()},
    )


def taster_report(name: str, i: int, parts: Mapping[str, Part]) -> TasterReport:
    """How taster ``i`` rates, by attribute."""
    counts: dict[str, int] = {}
    bias: dict[str, Belief] = {}
    noise: dict[str, Belief] = {}
    apart: dict[str, float | None] = {}
    agreement: dict[str, float | None] = {}
    for a, part in parts.items():
        facts, own = part.tasters, part.doubt.own_noise[:, i]
        counts[a] = int(facts.ratings[i])
        bias[a] = belief_normal(float(facts.bias_mean[i]), float(facts.bias_sd[i]))
        noise[a] = belief_from_draws(own)
        signal = float(facts.signal[i])
        whole = signal + float(np.square(own).mean()) + part.doubt.mean_square("disagreement")
        apart[a] = signal / whole if counts[a] > 1 else None
        shared = float(facts.agreement[i])
        agreement[a] = None if np.isnan(shared) else shared
    return TasterReport(name, counts, bias, noise, apart, agreement)
