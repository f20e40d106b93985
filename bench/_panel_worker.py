"""One timed fit in a process of its own, so that its peak memory is its own."""

from __future__ import annotations

import json
import sys
import time

import numpy as np

from bench._panel_tables import large


def peak_mb() -> float:
    """Peak resident memory of this process in megabytes."""
    with open("/proc/self/status") as status:  # noqa: PTH123
        return next(int(line.split()[1]) / 1024 for line in status if line.startswith("VmHWM"))


def main(what: str, ratings: int, attributes: int) -> dict[str, float]:
    blends = what in ("coupage", "coupage warm", "coupage 500 more")
    table, samples = large(ratings, attributes=attributes, blends=blends)
    if what.startswith("coupage"):
        from coupage.panel import fit

        before = peak_mb()
        start, cpu = time.perf_counter(), time.process_time()
        if what == "coupage 500 more":  # all but the newest cupping's ratings
            older = {name: values[:-500] for name, values in table.items()}
            beliefs = fit(older, samples)
        else:
            beliefs = fit(table, samples)
        seconds, own = time.perf_counter() - start, time.process_time() - cpu
        found = beliefs.spread()["a0"]
        out = {"coffee": found.coffee, "taster": found.taster, "cup": found.cup}
        start = time.perf_counter()
        beliefs.profile({"c1": 0.3, "c2": 0.7})
        out["question"] = time.perf_counter() - start
        if what in ("coupage warm", "coupage 500 more"):
            start, cpu = time.perf_counter(), time.process_time()
            fit(table, samples, start=beliefs)
            seconds, own = time.perf_counter() - start, time.process_time() - cpu
    else:
        import pandas as pd

        coffee = dict(zip(samples["sample"], samples["component"], strict=True))
        frame = pd.DataFrame(table)
        frame["coffee"] = frame["sample"].map(coffee)
        frame = frame.astype(dict.fromkeys(("cupping", "taster", "coffee"), str))
        if what == "mixedlm":
            from mixedlm import lmer

            before = peak_mb()
            start, cpu = time.perf_counter(), time.process_time()
            lmer("rating ~ 1 + (1|coffee) + (1|taster) + (1|cupping)", frame)
        else:
            from statsmodels.regression.mixed_linear_model import MixedLM

            terms = {n: f"0 + C({n})" for n in ("coffee", "taster", "cupping")}
            before = peak_mb()
            start, cpu = time.perf_counter(), time.process_time()
            MixedLM.from_formula(
                "rating ~ 1",
                frame,
                groups=np.ones(len(frame)),
                re_formula="0",
                vc_formula=terms,
                use_sparse=True,
            ).fit()
        seconds, own = time.perf_counter() - start, time.process_time() - cpu
        out = {}
    return {"seconds": seconds, "cpu": own, "peak": peak_mb(), "before": before, **out}


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))))
