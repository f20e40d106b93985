"""The fit as a whole: truth recovered, odd tables survived, the two methods agreeing."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

import numpy as np
import pytest
from bench.panel_calibration import DESIGNS, large_shares, positions
from scipy.stats import binom, kstest
from tests.rooms.panel.tables import Rows, small_table

from coupage.errors import InputError
from coupage.panel import Beliefs, Priors, fingerprint, fit


def test_known_truth_is_recovered():
    ratings, samples, truth = small_table(7, attributes=4, tasters=8, noise=0.4)
    beliefs = fit(ratings, samples)
    for a in range(4):
        line = [beliefs.profile({n: 1.0})[f"a{a}"] for n in ("hill", "lake", "shore")]
        means = np.array([b.mean for b in line])
        # Differences between coffees, in which the tasters' common bias drops out.
        assert means - means.mean() == pytest.approx(truth[a] - truth[a].mean(), abs=0.35)
    assert np.mean([s.cup for s in beliefs.spread().values()]) == pytest.approx(0.4, abs=0.1)


def test_intervals_cover_as_often_as_they_say():
    """200 simulated tables; the benchmark runs 1,000. Binomial limits at one in ten thousand."""
    covered(positions(DESIGNS[0], 200, seed=3), 200)


def test_intervals_around_the_mode_cover_as_often_as_they_say():
    """60 simulated tables of the method for large ones, small enough for a test."""
    design = replace(DESIGNS[2], shares=large_shares(samples=32, coffees=5), cuppings=4, tasters=6)
    covered(positions(design, 60, seed=3), 60)


def covered(found: dict[str, np.ndarray], tables: int) -> None:
    for name in ("unseen blend", "unseen pair share", "batch difference", "noise sd"):
        u = found[name]
        inside = int(((u > 0.05) & (u < 0.95)).sum())
        low, high = binom.ppf([5e-5, 1 - 5e-5], tables, 0.9)
        assert low <= inside <= high, name
        assert kstest(u, "uniform").pvalue > 1e-4, name


def finite(beliefs: Beliefs) -> bool:
    values: list[float] = []
    for component in beliefs.components:
        for b in beliefs.profile({component: 1.0}).values():
            values += [b.mean, b.sd, b.low90, b.high90]
    for s in beliefs.spread().values():
        values += [s.coffee, s.pairing, s.taster, s.cupping, s.cup]
    return all(isfinite(v) for v in values)


def one_row():
    rows = Rows()
    rows.samples.append(("S", "x", 1.0, "b", 7, "L"))
    rows.ratings.append(("k", "t", "S", "body", 6.0, 1, "hot"))
    return rows.tables()


def all_equal():
    ratings, samples, _ = small_table(1)
    return {**ratings, "rating": [6.0] * len(ratings["rating"])}, samples


def two_blends_only():
    rows = Rows()
    for s, x in (("S", 0.35), ("T", 0.65)):
        rows.samples += [(s, "x", x, f"{s}x", 7, "x"), (s, "y", 1 - x, f"{s}y", 7, "y")]
        for t in range(4):
            rows.ratings.append(("k", t, s, "body", 5 + x + t % 2, 1, "hot"))
    return rows.tables()


def nearly_straight():
    rows = Rows()
    for s, x in (("S", 0.999), ("T", 0.001), ("U", 0.5)):
        rows.samples += [(s, "x", x, f"{s}x", 7, "x"), (s, "y", 1 - x, f"{s}y", 7, "y")]
        for t in range(3):
            rows.ratings.append(("k", t, s, "body", 6 - x + t % 2, 1, "hot"))
    return rows.tables()


def huge_ages():
    ratings, samples, _ = small_table(1)
    return ratings, {**samples, "age_days": [7, 1e7] * (len(samples["sample"]) // 2) + [None]}


def many_identical():
    rows = Rows()
    rng = np.random.default_rng(0)
    rows.samples += [("S", "x", 0.3, "a", 7, "x"), ("S", "y", 0.7, "b", 7, "y")]
    for i in range(10_000):
        rating = float(np.round(2 * rng.normal(6, 0.8)) / 2)
        rows.ratings.append(("k", i % 5, "S", "body", min(rating, 10.0), i, "hot"))
    return rows.tables()


@pytest.mark.parametrize(
    "table", [one_row, all_equal, two_blends_only, nearly_straight, huge_ages, many_identical]
)
def test_an_odd_table_gives_finite_and_sensible_beliefs(table):
    ratings, samples = table()
    beliefs = fit(ratings, samples)
    assert finite(beliefs)
    again = fit(ratings, samples, method="mode")
    assert finite(again)
    for b in beliefs.profile({beliefs.components[0]: 1.0}).values():
        assert -3 < b.mean < 13
        assert 0.05 < b.sd < 4


def test_one_rating_moves_belief_part_of_the_way():
    ratings, samples = one_row()
    b = fit(ratings, samples).profile({"x": 1.0})["body"]
    assert 5.0 < b.mean < 6.0
    assert 1.0 < b.sd < 3.0


def test_equal_ratings_do_not_claim_certainty():
    ratings, samples = all_equal()
    beliefs = fit(ratings, samples)
    assert beliefs.profile({"hill": 1.0})["a0"].mean == pytest.approx(6.0, abs=0.15)
    assert beliefs.compare("S0", "S5", 0.5)["a0"].verdict == "same"


def test_many_cups_of_one_blend_teach_the_blend_and_not_its_parts():
    ratings, samples = many_identical()
    beliefs = fit(ratings, samples)
    blend = beliefs.profile({"x": 0.3, "y": 0.7})["body"]
    part = beliefs.profile({"x": 1.0})["body"]
    assert blend.mean == pytest.approx(6.0, abs=0.4)
    assert blend.sd < part.sd / 1.5


def test_half_finished_cuppings_are_fitted_attribute_by_attribute():
    ratings, samples, _ = small_table(5)
    ratings["rating"] = [
        None if a == "a1" and i % 3 == 0 else r
        for i, (a, r) in enumerate(zip(ratings["attribute"], ratings["rating"], strict=True))
    ]
    beliefs = fit(ratings, samples)
    alone = fit(ratings, samples, attributes=["a1"])
    one, two = beliefs.profile({"hill": 1.0})["a1"], alone.profile({"hill": 1.0})["a1"]
    assert one.mean == pytest.approx(two.mean, abs=1e-9)
    assert beliefs.tasters()[0].ratings["a1"] < beliefs.tasters()[0].ratings["a0"]


def test_approaches_to_one_lot_are_more_alike_than_lots():
    ratings, samples, _ = small_table(4)
    nested = {**samples, "lot": ["L1" if n != "shore" else "L2" for n in samples["component"]]}
    spread = fit(ratings, nested).spread()["a0"]
    assert spread.approach is not None
    extra = fit(ratings, nested, extra_components=["new"])
    assert extra.profile({"new": 1.0})["a0"].sd > extra.profile({"lake": 1.0})["a0"].sd


def test_features_draw_a_new_coffee_towards_its_kind():
    rows = Rows()
    rng = np.random.default_rng(1)
    kinds = {f"c{i}": "washed" if i % 2 else "natural" for i in range(10)}
    for i, (name, kind) in enumerate(kinds.items()):
        rows.samples.append((f"S{i}", name, 1.0, f"b{i}", 7, name))
        for t in range(5):
            y = (4.0 if kind == "washed" else 7.0) + rng.normal(0, 0.5)
            rows.ratings.append(("k", t, f"S{i}", "fruit", round(2 * y) / 2, 1, "hot"))
    ratings, samples = rows.tables()
    features = {
        "component": [*kinds, "new washed", "new natural"],
        "process": [*kinds.values(), "washed", "natural"],
    }
    beliefs = fit(ratings, samples, features=features)
    washed = beliefs.profile({"new washed": 1.0})["fruit"]
    natural = beliefs.profile({"new natural": 1.0})["fruit"]
    assert washed.mean < 5.2 < 5.8 < natural.mean


def test_age_and_pass_are_told_apart_from_the_coffee():
    rows = Rows()
    rng = np.random.default_rng(2)
    for s in range(12):
        age = 3 + 4 * s
        rows.samples.append((f"S{s}", "x", 1.0, f"b{s}", age, "x"))
        for t in range(4):
            for p, shift in (("hot", 0.8), ("cool", -0.8)):
                y = 7 - 0.06 * (age - 7) + shift + rng.normal(0, 0.3)
                rows.ratings.append(("k", t, f"S{s}", "acid", round(2 * y) / 2, 1, p))
    beliefs = fit(*rows.tables())
    slope = beliefs.age_slope()["acid"]
    assert slope.low90 < -0.06 < slope.high90
    assert slope.high90 < 0
    young = beliefs.profile({"x": 1.0}, age_days=7)["acid"].mean
    assert young - beliefs.profile({"x": 1.0}, age_days=27)["acid"].mean == pytest.approx(
        -20 * slope.mean
    )
    hot, cool = (beliefs.profile({"x": 1.0}, pass_name=p)["acid"].mean for p in ("hot", "cool"))
    assert hot - cool == pytest.approx(1.6, abs=0.25)
    assert (hot + cool) / 2 == pytest.approx(young, abs=1e-9)


def test_a_noisy_taster_is_found_out():
    rows = Rows()
    rng = np.random.default_rng(5)
    for s in range(10):
        rows.samples.append((f"S{s}", f"c{s}", 1.0, f"b{s}", 7, f"c{s}"))
        level = 3 + 0.5 * s
        for t in range(5):
            noise, bias = (2.0 if t == 0 else 0.4), (1.0 if t == 1 else 0.0)
            y = np.clip(level + bias + rng.normal(0, noise), 0, 10)
            rows.ratings.append(("k", f"t{t}", f"S{s}", "body", round(2 * y) / 2, 1, "hot"))
    reports = {r.taster: r for r in fit(*rows.tables()).tasters()}
    noise = {name: r.noise["body"].mean for name, r in reports.items()}
    assert max(noise, key=noise.__getitem__) == "t0"
    assert noise["t0"] > 1.4 * noise["t2"]
    bias = {name: r.bias["body"].mean for name, r in reports.items()}
    assert max(bias, key=bias.__getitem__) == "t1"
    assert reports["t0"].tells_apart["body"] < reports["t2"].tells_apart["body"]
    assert reports["t0"].agreement["body"] < reports["t2"].agreement["body"]


@pytest.fixture(scope="module")
def middling():
    """A table of the size at which the methods hand over."""
    rng = np.random.default_rng(8)
    rows, level = Rows(), rng.normal(5.5, 1.0, 8)
    bias = rng.normal(0, 0.6, 12)
    for c in range(18):
        for j in range(6):
            s = f"S{c}.{j}"
            members = rng.choice(8, 1 + (j % 2), replace=False)
            x = [1.0] if len(members) == 1 else [0.4, 0.6]
            for i, share in zip(members, x, strict=True):
                rows.samples.append((s, f"c{i}", share, f"b{i}.{rng.integers(4)}", 7, f"c{i}"))
            for t in rng.choice(12, 8, replace=False):
                y = np.clip(np.dot(x, level[members]) + bias[t] + rng.normal(0, 0.7), 0, 10)
                rows.ratings.append((f"k{c}", f"t{t}", s, "body", round(2 * y) / 2, 1, "hot"))
    return rows.tables()


def test_mode_and_integration_agree_where_they_meet(middling):
    ratings, samples = middling
    one, two = (fit(ratings, samples, method=m) for m in ("integrated", "mode"))
    assert (one.method, two.method) == ("integrated", "mode")
    for recipe in ({"c0": 1.0}, {"c1": 0.5, "c2": 0.5}, {"c3": 0.2, "c4": 0.3, "c5": 0.5}):
        a, b = one.profile(recipe)["body"], two.profile(recipe)["body"]
        assert b.mean == pytest.approx(a.mean, abs=0.1 * a.sd)
        assert b.sd == pytest.approx(a.sd, rel=0.1)
    a, b = (f.compare("S0.0", "S3.2", 0.5)["body"] for f in (one, two))
    assert b.difference == pytest.approx(a.difference, abs=0.1 * a.sd)
    assert b.sd == pytest.approx(a.sd, rel=0.06)
    s, t = one.spread()["body"], two.spread()["body"]
    for name in ("coffee", "taster", "cup"):
        assert getattr(t, name) == pytest.approx(getattr(s, name), rel=0.12)


def test_signs_trace_as_well_as_factors(middling, monkeypatch):
    ratings, samples = middling
    exact = fit(ratings, samples, method="mode").spread()["body"]
    monkeypatch.setattr("coupage.panel.solvers.DENSE", 10)
    monkeypatch.setattr("coupage.panel.modepart.DENSE", 10)
    monkeypatch.setattr("coupage.panel.mode.DENSE", 10)
    signs = fit(ratings, samples, method="mode")
    for name in ("coffee", "batch", "taster", "cup"):
        found = getattr(signs.spread()["body"], name)
        assert found == pytest.approx(getattr(exact, name), rel=0.15, abs=0.02)
    again = Beliefs.from_bytes(signs.to_bytes())
    assert again.profile({"c0": 1.0}) == signs.profile({"c0": 1.0})
    few = signs.restrict(["c2", "c0"]).profile({"c0": 0.5, "c2": 0.5})["body"]
    whole = signs.profile({"c0": 0.5, "c2": 0.5})["body"]
    assert (few.mean, few.sd) == pytest.approx((whole.mean, whole.sd), rel=1e-5)


def test_a_search_that_starts_from_yesterday_ends_at_the_same_beliefs(middling):
    ratings, samples = middling
    fresh = fit(ratings, samples, method="mode")
    most = {k: v[:-40] for k, v in ratings.items()}
    before = fit(most, samples, method="mode")
    warm = fit(ratings, samples, method="mode", start=before)
    assert warm.parts[0].doubt.rounds <= fresh.parts[0].doubt.rounds
    a, b = fresh.profile({"c0": 1.0})["body"], warm.profile({"c0": 1.0})["body"]
    assert b.mean == pytest.approx(a.mean, abs=0.02 * a.sd)
    assert b.sd == pytest.approx(a.sd, rel=0.02)


def test_a_fingerprint_is_known_before_the_fit_and_changes_with_anything_that_matters():
    ratings, samples, _ = small_table(1, attributes=1)
    first = fingerprint(ratings, samples)
    assert fit(ratings, samples).fingerprint == first
    other = {**ratings, "rating": [ratings["rating"][0] + 0.5, *ratings["rating"][1:]]}
    renamed = {**ratings, "taster": [t.replace("t1", "x1") for t in ratings["taster"]]}
    found = {
        first,
        fingerprint(other, samples),
        fingerprint(renamed, samples),
        fingerprint(ratings, samples, seed=1),
        fingerprint(ratings, samples, priors=Priors(taster=2.0)),
        fingerprint(ratings, samples, method="mode"),
        fingerprint(ratings, samples, tails=4.0),
        fingerprint(ratings, samples, extra_components=["new"]),
    }
    assert len(found) == 8


def test_progress_is_told_and_ends_at_one():
    ratings, samples, _ = small_table(1, attributes=3)
    for method in ("integrated", "mode"):
        told: list[float] = []
        fit(ratings, samples, method=method, progress=told.append)
        assert told == sorted(told)
        assert told[-1] == 1.0


def test_notes_say_what_the_table_cannot_tell():
    def notes(table):
        return " ".join(fit(*table).notes)

    assert notes((small_table(1)[0], small_table(1)[1])) == ""
    assert "One taster rated everything" in notes(one_row())
    assert "all 35 ratings are 6" in notes(all_equal())
    assert "cannot tell 'x', 'y' apart" in notes(many_identical())
    assert "days away from the reference age" in notes(huge_ages())
    ratings, samples, _ = small_table(1)
    ratings["rating"] = [
        None if a == "a1" else r
        for a, r in zip(ratings["attribute"], ratings["rating"], strict=True)
    ]
    assert "a1: not rated at all" in notes((ratings, samples))


def test_agreement_is_the_correlation_with_the_others_within_the_table():
    """Against NumPy's corrcoef, one cupping, every taster on every sample."""
    ratings, samples, _ = small_table(6, attributes=2, tasters=4)
    table = np.array(ratings["rating"]).reshape(2, 4, 7)
    for t, report in enumerate(fit(ratings, samples).tasters()):
        for a in range(2):
            others = np.delete(table[a], t, axis=0).mean(axis=0)
            expected = np.corrcoef(table[a, t], others)[0, 1]
            assert report.agreement[f"a{a}"] == pytest.approx(expected, abs=1e-12)


def test_nothing_to_fit_is_refused():
    samples = {"sample": ["A"], "component": ["x"], "proportion": [1.0]}
    empty: dict[str, list] = {k: [] for k in ("cupping", "taster", "sample", "attribute", "rating")}
    with pytest.raises(InputError, match="no row"):
        fit(empty, samples)
    with pytest.raises(InputError, match="threshold"):
        fit(empty, samples, threshold=1.5)
    assert Priors().mean == 5.0
