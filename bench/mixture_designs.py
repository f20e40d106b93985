"""Are the trials we choose as good as exchange over a candidate list, and as quick?"""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from coupage.mixture import Region, assess, choose_trials, model_matrix, simplex_centroid
from coupage.mixture.candidates import candidates

TITLE = "Designs for mixtures: efficiency and time"
COMPONENTS = range(3, 11)
REPEATS = 5  # random starts, the usual default of exchange over a list
MOST_LISTED = 4_000


@dataclass
class Case:
    name: str
    region: Region
    runs: int


def cases() -> list[Case]:
    found = []
    for q in COMPONENTS:
        names = [f"c{i}" for i in range(q)]
        runs = q * (q + 1) // 2 + 5
        found.append(Case(f"{q}, free", Region(names), runs))
        bounded = Region(names, 0.02, round(2.2 / q, 3))
        found.append(Case(f"{q}, 2 to {100 * bounded.upper[0]:g} %", bounded, runs))
    return found


def usual_list(region: Region) -> np.ndarray:
    """What textbooks list: centroids when free, else corners, their midpoints, the centre."""
    corners = region.vertices()
    if len(corners) == region.q:
        points = simplex_centroid(region.q)
        return points[(points > 0).sum(axis=1) <= 4]
    i, j = np.triu_indices(len(corners), 1)
    middles = (corners[i] + corners[j]) / 2
    if len(middles) > MOST_LISTED:
        middles = middles[np.random.default_rng(0).choice(len(middles), MOST_LISTED, False)]
    return np.concatenate([corners, middles, corners.mean(axis=0, keepdims=True)])


def exchange_over_list(rows: np.ndarray, runs: int, criterion: str, moments: np.ndarray) -> tuple:
    """Fedorov's exchange, best swap of each row in turn; returns the rows of the best repeat.

    Written apart from the package: Fedorov (1972), Theory of Optimal Experiments, section 3.2.
    """
    rng = np.random.default_rng(1)
    best = (np.inf, None)
    for _ in range(REPEATS):
        picks = rng.choice(len(rows), runs, replace=len(rows) < runs)
        for _ in range(50):
            changed = False
            for k in range(runs):
                x = rows[picks]
                inverse = np.linalg.pinv(x.T @ x, hermitian=True)
                there = rows @ inverse
                d_new = np.einsum("ij,ij->i", there, rows)
                d_old = d_new[picks[k]]
                cross = there @ rows[picks[k]]
                ratio = (1 + d_new) * (1 - d_old) + cross**2
                if criterion == "D":
                    gain = ratio - 1
                else:
                    spread = inverse @ moments @ inverse
                    b_new = np.einsum("ij,ij->i", rows @ spread, rows)
                    b_cross = rows @ spread @ rows[picks[k]]
                    b_old = b_new[picks[k]]
                    top = (1 - d_old) * b_new + 2 * cross * b_cross - (1 + d_new) * b_old
                    gain = np.where(ratio > 1e-9, top / np.maximum(ratio, 1e-9), -np.inf)
                into = int(np.argmax(gain))
                if gain[into] > 1e-8:
                    picks[k] = into
                    changed = True
            if not changed:
                break
        x = rows[picks]
        sign, size = np.linalg.slogdet(x.T @ x)
        if sign <= 0 or np.linalg.cond(x.T @ x) > 1e14:
            continue
        value = -size if criterion == "D" else np.trace(np.linalg.solve(x.T @ x, moments))
        if value < best[0]:
            best = (value, picks.copy())
    return best


def ideal(rows: np.ndarray, criterion: str, moments: np.ndarray) -> float:
    """Value of the approximate optimum over the listed rows, by multiplicative weights.

    Silvey, Titterington & Torsney (1978), Commun. Statist. A7:1379-1389. Returned is a bound that
    holds for every design on the list: the value reached, less what the equivalence theorem leaves.
    """
    p = rows.shape[1]
    weights = np.full(len(rows), 1 / len(rows))
    for _ in range(600):
        inverse = np.linalg.inv((rows * weights[:, None]).T @ rows)
        if criterion == "D":
            sense, value = np.einsum("ij,jk,ik->i", rows, inverse, rows), p
            weights = weights * sense / p
        else:
            spread = inverse @ moments @ inverse
            sense = np.einsum("ij,jk,ik->i", rows, spread, rows)
            value = np.trace(inverse @ moments)
            weights = weights * np.sqrt(sense / value)
            weights /= weights.sum()
        if sense.max() < value * 1.0005:
            break
    if criterion == "D":
        return float(np.exp(np.linalg.slogdet(inverse)[1] / -p) * sense.max() / p)
    return float(value * value / sense.max())


@dataclass(frozen=True)
class Library:
    """A general library of experimental designs, in an interpreter of its own."""

    name: str
    about: str
    cases: tuple[tuple[str, int, bool], ...]  # criterion, most components, bounded regions too


LIBRARIES = (
    Library(
        "pyoptex",
        "coordinate exchange, its defaults: levels 0, 1/2, 1; 10 starts. With 5 components and "
        "more its random starts seldom succeed with these. Its time leaves compiling out. Its I "
        "averages over a random sample of its own, and is judged here by the exact average over "
        "the region: read that ratio with care.",
        (("D", 5, False), ("I", 5, False)),
    ),
    Library(
        "bofire",
        "all proportions at once by an interior-point solver, its defaults with that solver; its I "
        "averages over points that it spreads itself, and is judged here by the exact average; "
        "it gets 300 s a case.",
        (("D", 8, True), ("I", 4, True)),
    ),
)
PATIENCE_S = 300


def other_libraries() -> list[str]:
    """Lines on libraries that want older companions than the tests, each in a place of its own."""
    lines: list[str] = []
    for library in LIBRARIES:
        here = sys.executable if importlib.util.find_spec(library.name) else None
        variable = f"{library.name.upper()}_PYTHON"
        python = os.environ.get(variable, here)
        if not python:
            missing = f"{library.name} was not there to compare with; name a Python that has it: "
            lines += [f"{missing}{variable}.", ""]
            continue
        head = (
            f"| components | runs | criterion | ratio to {library.name} | s | s, {library.name} |"
        )
        lines += [f"{library.name}: {library.about}", "", head]
        lines += ["| --- | ---: | --- | ---: | ---: | ---: |"]
        for criterion, most, bounded in library.cases:
            for case in cases():
                if case.region.q <= most and (bounded or case.name.endswith("free")):
                    lines.append(_beside(case, criterion, python, library.name))
        lines.append("")
    return lines


def _beside(case: Case, criterion: str, python: str, library: str) -> str:
    start = time.process_time()
    trials = choose_trials(case.region, case.runs, criterion=criterion)
    seconds = time.process_time() - start
    asked = {
        "q": case.region.q,
        "runs": case.runs,
        "criterion": criterion,
        "low": float(case.region.lower[0]),
        "high": float(case.region.upper[0]),
    }
    begun = f"| {case.name} | {case.runs} | {criterion} |"
    threads = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            [python, str(Path(__file__).with_name(f"_mixture_{library}.py"))],
            input=json.dumps(asked),
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE_S,
            env={**os.environ, **threads},
        )
    except subprocess.TimeoutExpired:
        return f"{begun} not done after {PATIENCE_S} s | {seconds:.2f} | |"
    if done.returncode:  # its own words: unable to find a feasible design
        return f"{begun} no design found | {seconds:.2f} | |"
    answer = json.loads(done.stdout.splitlines()[-1])  # it prints before that
    theirs = assess(case.region, answer["points"], criterion=criterion)
    ratio = (
        trials.d_efficiency / theirs.d_efficiency
        if criterion == "D"
        else theirs.mean_variance / trials.mean_variance
    )
    return f"{begun} {ratio:.4f} | {seconds:.2f} | {answer['seconds']:.2f} |"


def run() -> str:
    lines = [
        "Quadratic model, runs = terms + 5. *Efficiency* is against the best approximate design on",
        "a list of recipes that holds the points of both designs, corrected by the equivalence",
        "theorem so that no design on the list can pass 1; *list* is Fedorov's exchange over the",
        f"usual list ({REPEATS} random starts), written in NumPy for this table. R's exchange over",
        "a list took, measured once on a 2-core machine, 0.01 s for 3 components, 0.3-0.8 s for 5,",
        "4-19 s for 8. Times are processor time of one core.",
        "",
        "| components | runs | criterion | efficiency | list | ratio | s | s, list |",
        "| --- | ---: | --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    choose_trials(Region("ab"), 4)  # load what is loaded once
    worst = np.inf
    for case in cases():
        listed = usual_list(case.region)
        terms = model_matrix(listed, "quadratic")
        x, share = case.region.average_points(4)
        there = model_matrix(x, "quadratic")
        moments = (there * share[:, None]).T @ there
        for criterion in ("D", "I"):
            start = time.process_time()
            trials = choose_trials(case.region, case.runs, criterion=criterion)
            ours_s = time.process_time() - start
            start = time.process_time()
            _, picks = exchange_over_list(terms, case.runs, criterion, moments)
            list_s = time.process_time() - start
            theirs = assess(case.region, listed[picks], criterion=criterion)
            wide = candidates(case.region, None, np.random.default_rng(2))
            wide = np.concatenate([wide, trials.points, listed[picks]])
            best = ideal(model_matrix(wide, "quadratic"), criterion, moments)
            if criterion == "D":
                ours, other = trials.d_efficiency / best, theirs.d_efficiency / best
            else:
                ours, other = best / trials.mean_variance, best / theirs.mean_variance
            worst = min(worst, ours / other)
            lines.append(
                f"| {case.name} | {case.runs} | {criterion} | {ours:.4f} | {other:.4f} | "
                f"{ours / other:.4f} | {ours_s:.2f} | {list_s:.2f} |"
            )
    lines += ["", f"Smallest ratio to the list: {worst:.4f}.", "", *other_libraries()]
    return "\n".join(lines)
