"""The roast: mass balance, control charts, curves, and the loss to plan with."""

from __future__ import annotations

from coupage.roast.mass_balance import green_needed, green_shares, loss, roasted_shares

__all__ = ["green_needed", "green_shares", "loss", "roasted_shares"]
