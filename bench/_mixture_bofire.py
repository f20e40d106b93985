"""Run bofire on one case, in an interpreter that has it: JSON in on stdin, JSON out on stdout."""

from __future__ import annotations

import json
import sys
import time

from bofire.data_models.constraints.api import LinearEqualityConstraint
from bofire.data_models.domain.api import Domain
from bofire.data_models.features.api import ContinuousInput, ContinuousOutput
from bofire.data_models.strategies.api import DoEStrategy as Wish
from bofire.data_models.strategies.doe import DOptimalityCriterion, IOptimalityCriterion
from bofire.strategies.api import DoEStrategy


def main() -> None:
    case = json.load(sys.stdin)
    names = [f"c{i}" for i in range(case["q"])]
    low, high = case["low"], case["high"]
    domain = Domain.from_lists(
        inputs=[ContinuousInput(key=name, bounds=(low, high)) for name in names],
        outputs=[ContinuousOutput(key="y")],
        constraints=[
            LinearEqualityConstraint(features=names, coefficients=[1.0] * len(names), rhs=1.0)
        ],
    )
    pairs = [f"{a}:{b}" for i, a in enumerate(names) for b in names[i + 1 :]]
    formula = " + ".join([*names, *pairs, "-1"])  # Scheffe's quadratic polynomial
    kind = DOptimalityCriterion if case["criterion"] == "D" else IOptimalityCriterion
    wish = Wish(domain=domain, criterion=kind(formula=formula), seed=1, use_cyipopt=True)
    start = time.process_time()
    design = DoEStrategy(data_model=wish).ask(case["runs"])
    seconds = time.process_time() - start
    points = design[names].to_numpy().clip(0, 1)
    points /= points.sum(axis=1, keepdims=True)
    json.dump({"seconds": seconds, "points": points.tolist()}, sys.stdout)


if __name__ == "__main__":
    main()
