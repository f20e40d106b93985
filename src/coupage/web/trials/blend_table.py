"""Planned blends as a table that goes out: one row a share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal

from coupage.sheets import Column, Layout
from coupage.units import PPM
from coupage.web.trials.models import TrialShare

__all__ = ["blend_rows", "blends_layout"]


def blends_layout() -> Layout:
    return Layout(
        "trial blends",
        (
            Column("plan", "text"),
            Column("sample", "integer", low=1),
            Column("lot", "text"),
            Column("approach", "text"),
            Column("share", "share"),
        ),
        key=("plan", "sample", "lot", "approach"),
        description="Blends that were planned to be cupped, one row a share.",
    )


def blend_rows(shares: Iterable[TrialShare]) -> Iterator[dict[str, object]]:
    """Turn shares into rows of `blends_layout`."""
    for share in shares:
        approach = share.coffee.approach
        yield {
            "plan": share.trial.plan.name,
            "sample": share.trial.number,
            "lot": approach.lot.name,
            "approach": approach.name,
            "share": Decimal(share.share_ppm) / PPM,
        }
