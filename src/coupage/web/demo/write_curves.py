"""Roast curves of the demo: drawn from what the operator wrote down, with a logger's flaws."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from coupage.roast import clean_curve
from coupage.web.batches.models import Batch
from coupage.web.curves import packing
from coupage.web.curves.models import PhaseMark, Probe, ReferenceCurve, RoastCurve
from coupage.web.demo.write_tables import TableWriter

__all__ = ["CurveWriter", "draw_curve"]

Floats = NDArray[np.float64]
_MACHINE = "Large drum"
_MARKS = {"yellow": "158.0", "first crack": "201.5"}
_REFERENCE, _WHY = "35a", "Came out as meant in every number, and the table liked it best."


def draw_curve(batch: Batch, stalls: bool, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Draw a curve that ends at the batch's time and temperature.

    A fall from charge, then a rise that slows steadily; ``stalls`` flattens it after first crack
    and lets it run hot at the end. Every reading has a logger's noise, some are lost.
    """
    length = batch.seconds or 600
    end = float(batch.end_temperature_c or 213)
    t = np.arange(0, length + 1, 2.0)
    part = t / length
    drop, pace = rng.normal([0.0, 0.78], [4.0, 0.012])
    rise = 88 + (end - 88) * part**pace + (102 + drop) * np.exp(-t / 30) * (1 - part)
    wander = np.cumsum(rng.normal(0, 0.035, t.size)) * np.sin(np.pi * part)
    if stalls:
        crack = (batch.first_crack_s or length * 0.8) / length
        after = np.clip((part - crack) / (1 - crack), 0, 1)
        rise -= 7.5 * np.sin(np.pi * after)
    degrees = rise + wander + rng.normal(0, 0.15, t.size)
    if rng.random() < 0.25:
        degrees[rng.integers(20, t.size - 5)] += 40  # a loose plug
    kept = rng.random(t.size) > 0.01
    kept[[0, -1]] = True
    return t[kept], degrees[kept]


class CurveWriter(TableWriter):
    """Writes the curves of one machine, its phases and its reference."""

    def write_curves(self) -> None:
        rng = np.random.default_rng([self.drawn.seed, 6])
        machine = self.machine[_MACHINE]
        probe = Probe.objects.create(machine=machine, skip_s=90)
        PhaseMark.objects.bulk_create(
            PhaseMark(probe=probe, name=name, temperature_c=Decimal(degrees))
            for name, degrees in _MARKS.items()
        )
        logged = {key: batch for key, batch in self.batch.items() if batch.machine == machine}
        rows = RoastCurve.objects.bulk_create(
            self._curve(key, batch, rng) for key, batch in logged.items()
        )
        curve = dict(zip(logged, rows, strict=True))
        plan = self.scenario.batch[_REFERENCE]
        ReferenceCurve.objects.create(
            approach=self.approach[plan.approach],
            machine=machine,
            curve=curve[_REFERENCE],
            reason=_WHY,
            at=self.moment(plan.days_ago - 2, 9 * 60),
            by=self.person["idris"],
        )

    def _curve(self, key: str, batch: Batch, rng: np.random.Generator) -> RoastCurve:
        stalls = bool(self.scenario.batch[key].fault.taste)
        seconds, degrees = draw_curve(batch, stalls, rng)
        cleaned = clean_curve({"seconds": seconds, "bean_temperature": degrees})
        packed = packing.pack(seconds, degrees)
        turning = cleaned.turning_point
        return RoastCurve(
            batch=batch,
            readings=packed,
            digest=packing.digest(packed),
            filename=f"{batch.number}.csv",
            count=seconds.size,
            duration_s=round(float(cleaned.seconds[-1])),
            drop_c=Decimal(f"{cleaned.temperature[-1]:.1f}"),
            turning_point_s=None if turning is None else round(turning),
            spikes=cleaned.spikes,
            gap_s=0,
            taken_in_at=self.moment(self.scenario.batch[key].days_ago, 15 * 60),
            by=self.person["lotte"],
        )
