"""The model of the table: one Bayesian mixture model for everything that is tasted."""

from __future__ import annotations

from coupage.panel.answers import Belief, Comparison, JointComparison, Spread, TasterReport, Verdict
from coupage.panel.beliefs import MODEL_VERSION, Beliefs
from coupage.panel.criticism import (
    LeftOutSample,
    OddRating,
    Review,
    SwappedCodes,
    VerdictChange,
    review,
    verdicts_without,
)
from coupage.panel.fitting import fingerprint, fit
from coupage.panel.flat import FlatFit, fit_flat
from coupage.panel.gaussians import GaussianMixture
from coupage.panel.predictive import PredictiveCheck
from coupage.panel.priors import Priors
from coupage.panel.together import JudgedPair, JudgedSamples, judge_samples
from coupage.panel.uniformity import Uniformity, batch_effects, uniformity

__all__ = [
    "MODEL_VERSION",
    "Belief",
    "Beliefs",
    "Comparison",
    "FlatFit",
    "GaussianMixture",
    "JointComparison",
    "JudgedPair",
    "JudgedSamples",
    "LeftOutSample",
    "OddRating",
    "PredictiveCheck",
    "Priors",
    "Review",
    "Spread",
    "SwappedCodes",
    "TasterReport",
    "Uniformity",
    "Verdict",
    "VerdictChange",
    "batch_effects",
    "fingerprint",
    "fit",
    "fit_flat",
    "judge_samples",
    "review",
    "uniformity",
    "verdicts_without",
]
