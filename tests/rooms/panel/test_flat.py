"""Flat priors against published and certified figures; sources beside the data."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import f as f_distribution

from coupage.errors import InputError
from coupage.panel import fit_flat
from coupage.panel.least_squares import least_squares

REFERENCES = Path(__file__).parents[2] / "references"
YARN = json.loads((REFERENCES / "panel_yarn" / "yarn.json").read_text())
REGRESSION = json.loads((REFERENCES / "panel_strd" / "regression.json").read_text())
ANOVA = json.loads((REFERENCES / "panel_strd" / "anova.json").read_text())
WINE = json.loads((REFERENCES / "panel_wine" / "published.json").read_text())


def digits(found, certified) -> float:
    """Correct digits of the worst figure; 15 for an exact one."""
    found, certified = np.asarray(found, dtype=float), np.asarray(certified, dtype=float)
    scale = np.where(certified == 0, 1, np.abs(certified))
    return float(-np.log10(np.maximum(np.abs(found - certified) / scale, 1e-15)).min())


def straight(samples) -> dict[str, list]:
    names = sorted(set(samples))
    return {"sample": names, "component": names, "proportion": [1.0] * len(names)}


def test_yarn_gives_the_coefficients_and_errors_the_handbook_prints():
    rows = [
        (f"S{s}", YARN["components"][i], x)
        for s, point in enumerate(YARN["x"])
        for i, x in enumerate(point)
        if x
    ]
    samples = dict(zip(("sample", "component", "proportion"), zip(*rows, strict=True), strict=True))
    n = len(YARN["y"])
    ratings = {
        "cupping": ["one"] * n,
        "taster": ["gauge"] * n,
        "sample": [f"S{s}" for s in range(n)],
        "attribute": ["elongation"] * n,
        "rating": YARN["y"],
    }
    fit = fit_flat(ratings, samples)["elongation"]
    # Components appear in the order of the samples, polypropylene first; pairs in that order too.
    c = {name: f"x{i + 1}" for i, name in enumerate(YARN["components"])}
    for name, found in fit.coefficients.items():
        key = "*".join(sorted(c[part] for part in name.split(" x ")))
        assert found == pytest.approx(YARN["coefficients"][key], abs=1e-9)
        assert fit.standard_errors[name] == pytest.approx(YARN["standard_errors"][key], abs=5e-7)
    assert len(fit.coefficients) == 6
    assert fit.residual_sd == pytest.approx(YARN["residual_sd"], abs=5e-6)
    assert fit.residual_df == YARN["residual_df"]


@pytest.mark.parametrize(
    ("name", "asked", "asked_errors"),
    [
        ("longley", 12, 11),
        ("norris", 12, 12),
        ("noint1", 14, 14),
        ("pontius", 12, None),
        ("wampler1", 12, None),
        ("wampler2", 12, None),
        ("wampler3", 12, 11),
        ("wampler4", 11, 11),
        ("wampler5", 9.5, 11),
        ("filip", 7, None),
    ],
)
def test_least_squares_meets_the_certified_digits(name, asked, asked_errors):
    case = REGRESSION[name]
    x = np.array(case["x"], dtype=float)
    if case["powers"]:
        x = x.ravel()[:, None] ** np.arange(case["p"])
    elif case["intercept"]:
        x = np.column_stack([np.ones(len(x)), x])
    found = least_squares(x, np.array(case["y"], dtype=float))
    assert digits(found.coefficients, case["b"]) >= asked
    if asked_errors:
        assert digits(found.standard_errors, case["se"]) >= asked_errors


@pytest.mark.parametrize(
    ("name", "asked"),
    [
        ("SiRstv", 12),
        ("AtmWtAg", 8.5),
        ("SmLs01", 14),
        ("SmLs02", 14),
        ("SmLs04", 9),
        ("SmLs05", 9),
        ("SmLs07", 2.5),
        ("SmLs08", 3),
    ],
)
def test_straight_coffees_under_flat_priors_are_a_one_way_analysis_of_variance(name, asked):
    text = (REFERENCES / "panel_strd" / f"{name}.dat").read_text().splitlines()
    rows = [line.split() for line in text[60:] if line.strip()]
    group, y = [r[0] for r in rows], np.array([float(r[1]) for r in rows])
    ratings = {
        "cupping": [1] * len(y),
        "taster": [1] * len(y),
        "sample": group,
        "attribute": ["y"] * len(y),
        "rating": y,
        "cup": range(len(y)),
    }
    fit = fit_flat(ratings, straight(group))["y"]
    means = np.array([fit.coefficients[g] for g in sorted(set(group))])
    counts = np.array([group.count(g) for g in sorted(set(group))])
    between = counts @ np.square(means - counts @ means / counts.sum())
    f = between / (len(means) - 1) / fit.residual_sd**2
    assert digits(f, ANOVA[name]["F"]) >= asked
    assert digits(fit.residual_sd, ANOVA[name]["residual_sd"]) >= asked


def wine(attribute: str) -> tuple[dict[str, list], dict[str, list]]:
    with (REFERENCES / "panel_wine" / "panel.csv").open() as file:
        rows = list(csv.DictReader(file))
    ratings = {
        "cupping": ["all"] * len(rows),
        "taster": [r["NJ"] for r in rows],
        "sample": [r["ProductName"] for r in rows],
        "attribute": [attribute] * len(rows),
        "rating": [float(r[attribute]) for r in rows],
        "cup": [r["NR"] for r in rows],
    }
    return ratings, straight(ratings["sample"])


RANDOM = ("taster", "disagreement")


def test_the_wine_panel_gives_the_variances_means_and_errors_of_a_mixed_model_program():
    fit = fit_flat(*wine("Red_berry"), random=RANDOM)["Red_berry"]
    published = WINE["mixed_model"]
    assert fit.sds["taster"] ** 2 == pytest.approx(published["var_taster"], abs=5e-4)
    assert fit.sds["disagreement"] ** 2 == pytest.approx(published["var_disagreement"], abs=5e-4)
    assert fit.residual_sd**2 == pytest.approx(published["var_residual"], abs=5e-4)
    for name, mean, error in zip(
        published["ProductName"], published["emmean"], published["SE"], strict=True
    ):
        assert fit.coefficients[name] == pytest.approx(mean, abs=5e-9)
        assert fit.standard_errors[name] == pytest.approx(error, abs=1e-6)


@pytest.mark.parametrize("attribute", sorted(WINE["sums_of_squares"]))
def test_the_wine_panel_agrees_with_the_published_sums_of_squares(attribute):
    sums, df = WINE["sums_of_squares"][attribute], WINE["df"]
    within = [k for k in sums if k not in ("NJ", "ProductName", "NJ:ProductName")]
    residual = sum(sums[k] for k in within) / sum(df[k] for k in within)
    crossed = sums["NJ:ProductName"] / df["NJ:ProductName"]
    fit = fit_flat(*wine(attribute), random=RANDOM)[attribute]
    means = np.array(list(fit.coefficients.values()))
    assert 42 * means.var() * 8 == pytest.approx(sums["ProductName"], abs=6e-5)
    # On a balanced table restricted maximum likelihood solves the equations of the mean squares;
    # a variance that would come out negative is zero and its mean square pooled (Bitter).
    pooled = (91 * crossed + 224 * residual) / 315
    noise, views = (residual, (crossed - residual) / 3) if crossed > residual else (pooled, 0.0)
    assert fit.residual_sd**2 == pytest.approx(noise, rel=1e-5)
    assert fit.sds["disagreement"] ** 2 == pytest.approx(views, rel=1e-4, abs=1e-6)
    judges = (sums["NJ"] / df["NJ"] - max(crossed, pooled if not views else 0)) / 24
    assert fit.sds["taster"] ** 2 == pytest.approx(judges, rel=1e-4)


@pytest.mark.parametrize("attribute", sorted(WINE["mixed_F"]))
def test_wines_are_judged_against_the_judges_own_views(attribute):
    """Random judges: Red_berry is no longer told apart, p = .198 (.0065 with fixed judges)."""
    f, df, p = WINE["mixed_F"][attribute]
    fit = fit_flat(*wine(attribute), random=RANDOM)[attribute]
    means = np.array(list(fit.coefficients.values()))
    error = fit.residual_sd**2 + 3 * fit.sds["disagreement"] ** 2
    found = 42 * means.var(ddof=1) / error
    assert found == pytest.approx(f, abs=0.0051)
    assert f_distribution.sf(found, 7, df) == pytest.approx(p, rel=0.01)


def test_crossed_tasters_and_days_agree_with_a_general_mixed_model_library():
    """statsmodels MixedLM by REML on a balanced table, variance components within 1 %."""
    mixed_lm = pytest.importorskip("statsmodels.regression.mixed_linear_model").MixedLM
    pandas = pytest.importorskip("pandas")
    rng = np.random.default_rng(3)
    rows = []
    bias, day = rng.normal(0, 1.0, 5), rng.normal(0, 0.7, 4)
    for c in range(4):
        for t in range(5):
            for s, level in enumerate((4.0, 5.5, 7.0)):
                y = level + bias[t] + day[c] + rng.normal(0, 0.6)
                rows.append((f"k{c}", f"t{t}", f"S{s}", "a", y))
    frame = pandas.DataFrame(rows, columns=["cupping", "taster", "sample", "attribute", "rating"])
    fit = fit_flat(frame, straight(frame["sample"]), random=("taster", "cupping"))["a"]
    model = mixed_lm.from_formula(
        "rating ~ 0 + sample",
        frame,
        groups=np.ones(len(frame)),
        re_formula="0",
        vc_formula={"taster": "0 + C(taster)", "cupping": "0 + C(cupping)"},
    )
    reference = model.fit(reml=True)
    sds = dict(zip(model.exog_vc.names, np.sqrt(reference.vcomp), strict=True))
    assert fit.sds["taster"] == pytest.approx(sds["taster"], rel=0.01)
    assert fit.sds["cupping"] == pytest.approx(sds["cupping"], rel=0.01)
    assert fit.residual_sd == pytest.approx(np.sqrt(reference.scale), rel=0.01)
    errors = reference.bse_fe.to_numpy()
    assert np.array(list(fit.standard_errors.values())) == pytest.approx(errors, rel=0.01)


def test_effects_that_cannot_be_told_apart_are_refused_with_the_remedy():
    samples = {
        "sample": ["A", "A", "B", "B"],
        "component": ["hill", "lake"] * 2,
        "proportion": [0.5, 0.5, 0.25, 0.75],
    }
    ratings = {
        "cupping": [1] * 4,
        "taster": ["t", "t", "u", "u"],
        "sample": ["A", "B"] * 2,
        "attribute": ["body"] * 4,
        "rating": [6.0, 5.0, 7.0, 5.5],
    }
    with pytest.raises(InputError, match=r"combinations|told apart"):
        fit_flat(ratings, samples)
    with pytest.raises(InputError, match="did you mean 'taster'"):
        fit_flat(ratings, samples, random=["tasters"])
