"""The model of the table: one Bayesian mixture model for everything that is tasted."""

from __future__ import annotations

from coupage.panel.answers import Belief, Comparison, JointComparison, Spread, TasterReport, Verdict
from coupage.panel.beliefs import MODEL_VERSION, Beliefs
from coupage.panel.fitting import fit
from coupage.panel.flat import FlatFit, fit_flat
from coupage.panel.gaussians import GaussianMixture
from coupage.panel.priors import Priors

__all__ = [
    "MODEL_VERSION",
    "Belief",
    "Beliefs",
    "Comparison",
    "FlatFit",
    "GaussianMixture",
    "JointComparison",
    "Priors",
    "Spread",
    "TasterReport",
    "Verdict",
    "fit",
    "fit_flat",
]
