"""Revealed tables with known effects, for tests of what they taught."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal

import numpy as np

from coupage.web.batches.models import Batch
from coupage.web.cuppings.models import Cupping, Rating, Taster
from tests.web import things


def reveal(
    effects: Mapping[Batch, Mapping[str, float]],
    *,
    tasters: list[Taster] | None = None,
    cups: int = 2,
    noise: float = 0.5,
    held_at: dt.datetime = things.NOW,
    seed: int = 1,
    odd_cup: float = 0.0,
) -> Cupping:
    """A revealed table of single batches; each rating is 5 plus its effect plus noise.

    ``odd_cup`` comes on top of the first cup of the first batch, in body.
    """
    rng = np.random.default_rng(seed)
    samples = [things.sample({batch: 1_000_000}) for batch in effects]
    table = things.cupping(
        samples=samples,
        tasters=tasters or [things.taster() for _ in range(5)],
        attributes=[things.attribute("body"), things.attribute("fruit")],
        cups=cups,
        held_at=held_at,
        state=Cupping.State.REVEALED,
        revealed_at=held_at,
    )
    of = dict(zip((s.pk for s in samples), effects.values(), strict=True))
    first = samples[0].pk
    rows = []
    for cup in table.cups.all():
        for seat in table.seats.all():
            for round_ in table.rounds.all():
                for asked in table.asked.select_related("attribute"):
                    name = asked.attribute.name
                    y = 5 + of[cup.sample_id].get(name, 0.0) + rng.normal(0, noise)
                    if cup.sample_id == first and cup.number == 1 and name == "body":
                        y += odd_cup
                    value = Decimal(f"{np.clip(round(y * 4) / 4, 0, 10):.2f}")
                    rows.append(
                        Rating(
                            cup=cup,
                            seat=seat,
                            round=round_,
                            attribute=asked.attribute,
                            value=value,
                            at=held_at,
                        )
                    )
    Rating.objects.bulk_create(rows)
    return table
