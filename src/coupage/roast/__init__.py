"""The roast: mass balance, control charts, curves, and the loss to plan with."""

from __future__ import annotations

from coupage.roast.control_chart import ControlChart, Signal, control_chart
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
    "ControlChart",
    "ExpectedLoss",
    "LossModel",
    "LossPriors",
    "RunRule",
    "Signal",
    "control_chart",
    "cusum_run_length",
    "ewma_run_length",
    "expected_loss",
    "green_needed",
    "green_shares",
    "loss",
    "roasted_shares",
    "run_rules",
    "western_electric_run_length",
]
