"""Random regions that are never empty: limits drawn around a recipe that obeys them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st

from coupage.mixture import Group, Region


@dataclass(frozen=True)
class Drawn:
    """A region and a recipe on the 5 % step that must lie in it."""

    region: Region
    recipe: np.ndarray


@st.composite
def regions(draw, least=2, most=5, groups=True, exclusive=False, wide=False):
    q = draw(st.integers(least, most))
    cuts = sorted(draw(st.lists(st.integers(0, 20), min_size=q - 1, max_size=q - 1)))
    steps = np.diff([0, *cuts, 20])
    sets = ()
    names = [f"c{i}" for i in range(q)]
    if exclusive and q > 2:
        steps = steps.copy()
        steps[2] += steps[0]
        steps[0] = 0
        sets = ((names[0], names[1]),)
    around = 6 if wide else 0  # steps of room that every limit leaves
    lower = [draw(st.integers(0, max(0, int(s) - around))) / 20 for s in steps]
    upper = [draw(st.integers(min(20, int(s) + around), 20)) / 20 for s in steps]
    limits = []
    if groups:
        for _ in range(draw(st.integers(0, 2))):
            row = draw(st.lists(st.integers(-2, 3), min_size=q, max_size=q))
            at = int(np.dot(row, steps))
            room = draw(st.integers(2 * around, 12))
            if any(row):
                limits.append(
                    Group(dict(zip(names, map(float, row), strict=True)), upper=(at + room) / 20)
                )
    return Drawn(Region(names, lower, upper, limits, exclusive=sets), steps / 20)
