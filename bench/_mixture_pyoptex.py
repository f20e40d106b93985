"""Run pyoptex on one case, in an interpreter that has it: JSON in on stdin, JSON out on stdout."""

from __future__ import annotations

import json
import sys
import time

import numpy as np
from pyoptex.doe.fixed_structure import (
    Factor,
    create_fixed_structure_design,
    create_parameters,
    default_fn,
)
from pyoptex.doe.fixed_structure.metric import Dopt, Iopt
from pyoptex.utils.model import mixtureY2X

TRIES = 10  # the library's default


def main() -> None:
    case = json.load(sys.stdin)
    names = [f"c{i}" for i in range(case["q"] - 1)]  # the last component is what is left
    levels = np.array([0, 0.5, 1])  # the library's own for mixtures
    factors = [Factor(name, type="mixture", levels=levels) for name in names]
    terms = mixtureY2X(factors, mixture_effects=(names, "tfi"))
    metric = Dopt() if case["criterion"] == "D" else Iopt()
    parameters = create_parameters(factors, default_fn(factors, metric, terms), case["runs"])
    create_fixed_structure_design(parameters, n_tries=1)  # compile
    start = time.process_time()
    design, _ = create_fixed_structure_design(parameters, n_tries=TRIES)
    seconds = time.process_time() - start
    some = design.to_numpy()
    points = np.column_stack([some, 1 - some.sum(axis=1)])
    json.dump({"seconds": seconds, "points": points.tolist()}, sys.stdout)


if __name__ == "__main__":
    main()
