"""What taste says about a batch, for the verdict that is proposed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy import sparse

from coupage.panel import Beliefs, JointComparison
from coupage.panel.answers import compare_line, joint_of
from coupage.web.batches.models import Batch, Verdict
from coupage.web.batches.proposing import Reason
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.kept import BeliefsPending
from coupage.web.cuppings.models import Attribute
from coupage.web.cuppings.pages.said import chance_text

__all__ = ["as_intended", "taste_reasons"]


def as_intended(beliefs: Beliefs, number: str) -> JointComparison | None:
    """Hold a batch against what its coffee by its approach usually tastes of; None: not tasted."""
    if number not in beliefs.batches:
        return None
    limits = {
        a.name: float(a.tolerance)
        for a in Attribute.objects.filter(kind="intensity")
        if a.name in beliefs.attributes
    }
    if not limits:
        return None
    column = beliefs.layout.first_batch + beliefs.batches.index(number)
    row = sparse.csr_array(([1.0], ([0], [column])), shape=(1, beliefs.layout.size))
    found = {}
    for name, limit in limits.items():
        part = beliefs.parts[beliefs.attributes.index(name)]
        cup = part.doubt.mean_square("noise") + beliefs.priors.floor
        cup += part.doubt.mean_square("disagreement")
        line = part.line(row, np.zeros(1))
        found[name] = compare_line(line, np.array([limit]), beliefs.threshold, float(np.sqrt(cup)))[
            0
        ]
    return joint_of(found, beliefs.threshold)


def taste_reasons(batch: Batch) -> Iterator[Reason]:
    """Say what the tables speak for. Where the cups cannot tell, taste speaks for nothing."""
    try:
        beliefs = beliefs_now()
    except BeliefsPending:
        yield Reason("taste", "what the tables taught is being worked out; look again in a moment")
        return
    judged = as_intended(beliefs, batch.number) if beliefs is not None else None
    if judged is None:
        yield Reason("taste", "it was not tasted on a revealed table yet")
    elif judged.verdict == "same":
        chance = chance_text(judged.chance_same)
        yield Reason("taste", f"it tastes as this coffee does ({chance})", Verdict.RELEASE)
    elif judged.verdict == "different":
        chance = chance_text(judged.chance_different)
        yield Reason(
            "taste",
            f"its {judged.deciding} is not what this coffee has ({chance})",
            Verdict.HOLD,
        )
    elif judged.chance_different > 0.5:
        yield Reason(
            "taste",
            f"its {judged.deciding} is more likely off than not "
            f"({chance_text(judged.chance_different)}); cup it again",
            Verdict.LOOK_AGAIN,
        )
    else:
        further = judged.further_cups
        more = "" if further is None or further > 100 else f"; about {further} more cups would tell"
        yield Reason("taste", f"too few cups to say whether it tastes as intended{more}")
