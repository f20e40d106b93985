"""The roast: mass balance, control charts, curves, and the loss to plan with."""

from __future__ import annotations

from coupage.roast.associations import Association, associations
from coupage.roast.compare_curves import CurveComparison, Excursion, compare_curves
from coupage.roast.control_chart import ControlChart, Signal, control_chart
from coupage.roast.curve import Curve, Phase, clean_curve, phases
from coupage.roast.curve_band import CurveBand, curve_band
from coupage.roast.expected_loss import ExpectedLoss, LossModel, LossPriors, expected_loss
from coupage.roast.mass_balance import green_needed, green_shares, loss, roasted_shares
from coupage.roast.run_length import (
    cusum_run_length,
    ewma_run_length,
    western_electric_run_length,
)
from coupage.roast.run_rules import NELSON, WESTERN_ELECTRIC, RunRule, run_rules

__all__ = [
    "NELSON",
    "WESTERN_ELECTRIC",
    "Association",
    "ControlChart",
    "Curve",
    "CurveBand",
    "CurveComparison",
    "Excursion",
    "ExpectedLoss",
    "LossModel",
    "LossPriors",
    "Phase",
    "RunRule",
    "Signal",
    "associations",
    "clean_curve",
    "compare_curves",
    "control_chart",
    "curve_band",
    "cusum_run_length",
    "ewma_run_length",
    "expected_loss",
    "green_needed",
    "green_shares",
    "loss",
    "phases",
    "roasted_shares",
    "run_rules",
    "western_electric_run_length",
]
