"""Criticism: closed forms against brute force, planted mistakes found, clean tables left alone."""

from __future__ import annotations

import numpy as np
import pytest
from tests.rooms.panel.tables import small_table

from coupage.errors import InputError
from coupage.panel import fit, review, verdicts_without
from coupage.panel.columns import read_ratings, read_samples
from coupage.panel.design import build_terms
from coupage.panel.residuals import residuals_of


def looked(ratings, samples, beliefs):
    described = read_samples(samples, reference_age=7.0)
    given = read_ratings(ratings, described.names, attributes=["a0"], scale=(0, 10))
    rows = np.arange(len(given.rating))
    layout, doubt = beliefs.layout, beliefs.parts[0].doubt
    found = residuals_of(given, described, layout, beliefs.priors, doubt, rows, rows)
    return given, described, layout, doubt, found


def test_leaving_out_is_what_conditioning_the_joint_gaussian_gives():
    ratings, samples, _ = small_table(3, attributes=1)
    beliefs = fit(ratings, samples)
    given, described, layout, doubt, found = looked(ratings, samples, beliefs)
    terms = build_terms(given, described, layout, beliefs.priors, found.rows)
    own = np.square(doubt.own_noise).mean(axis=0) + beliefs.priors.floor
    total = np.diag(own[given.taster])
    for term in terms:
        square = doubt.mean_square(term.name) if term.estimated else term.sd**2
        total += square * (term.columns @ term.columns.T).toarray()
    y = given.rating - 5
    for some in (np.array([4]), np.flatnonzero(given.sample == 2)):
        rest = np.setdiff1d(np.arange(len(y)), some)
        gain = total[np.ix_(some, rest)] @ np.linalg.inv(total[np.ix_(rest, rest)])
        error, covariance = found.left_out(some)
        assert error == pytest.approx(y[some] - gain @ y[rest], abs=1e-6)
        expected = total[np.ix_(some, some)] - gain @ total[np.ix_(rest, some)]
        assert covariance == pytest.approx(expected, abs=1e-6)


def test_the_move_of_a_level_is_what_dropping_the_rating_does():
    ratings, samples, _ = small_table(3, attributes=1)
    beliefs = fit(ratings, samples)
    given, described, layout, doubt, found = looked(ratings, samples, beliefs)
    i = 9

    def level(rows):
        terms = build_terms(given, described, layout, beliefs.priors, rows)
        sd = [doubt.mean_square(t.name) if t.estimated else t.sd**2 for t in terms]
        columns = [np.sqrt(s) * t.columns.toarray() for s, t in zip(sd, terms, strict=True)]
        everything = build_terms(given, described, layout, beliefs.priors, np.arange(35))
        part = np.hstack(
            [
                np.sqrt(s) * t.columns.toarray()[[i]] * (t.name not in ("taster", "cupping"))
                for s, t in zip(sd, everything, strict=True)
            ]
        )
        own = np.square(doubt.own_noise).mean(axis=0) + beliefs.priors.floor
        z = np.hstack(columns)
        total = z @ z.T + np.diag(own[given.taster[rows]])
        return float((part @ z.T @ np.linalg.solve(total, given.rating[rows] - 5))[0])

    every = np.arange(35)
    change = level(np.delete(every, i)) - level(every)
    assert found.moves[i] == pytest.approx(change, abs=1e-6)


def clean(seed: int = 11):
    return small_table(seed, attributes=4, tasters=6, noise=0.5)[:2]


def position(ratings, taster, sample, attribute) -> int:
    rows = zip(ratings["taster"], ratings["sample"], ratings["attribute"], strict=True)
    return list(rows).index((taster, sample, attribute))


def test_a_slipped_finger_is_found_with_what_was_meant():
    ratings, samples = clean()
    values = list(ratings["rating"])
    row = position(ratings, "t3", "S4", "a2")
    ratings["rating"] = [0.5 if i == row else v for i, v in enumerate(values)]
    beliefs = fit(ratings, samples)
    found = review(ratings, samples, beliefs)
    first = found.odd[0]
    assert (first.row, first.taster, first.sample, first.attribute) == (row + 1, "t3", "S4", "a2")
    assert first.expected == pytest.approx(values[row], abs=1.5)
    assert first.moves > 0.1
    assert first.meant in (5.0, 9.5)
    assert any(c.missed for c in found.predictive["a2"])
    assert not any(c.missed for c in found.predictive["a1"])


def test_a_clean_table_has_nothing_odd_and_is_predicted_as_well_as_believed():
    odd, swapped, inside = 0, 0, []
    for seed in range(20, 26):
        ratings, samples = clean(seed)
        found = review(ratings, samples, fit(ratings, samples))
        odd, swapped = odd + len(found.odd), swapped + len(found.swapped)
        inside += [s.inside for a in found.left_out for s in found.left_out[a]]
        assert found.conflicts == ()
        assert 0 < found.error("a0") < 3
        assert 0 <= found.coverage("a0") <= 1
    # 24 attributes at five in a hundred expected; 168 samples in nine of ten intervals.
    assert odd <= 5
    assert swapped <= 1
    assert 0.8 < np.mean(inside) <= 1.0


def test_swapped_codes_are_found():
    ratings, samples = clean(13)
    names = [
        {"S0": "S1", "S1": "S0"}.get(s, s) if t == "t2" else s
        for t, s in zip(ratings["taster"], ratings["sample"], strict=True)
    ]
    turned = {**ratings, "sample": names}
    beliefs = fit(turned, samples)
    found = review(turned, samples, beliefs).swapped
    assert (found[0].taster, found[0].first, found[0].second) == ("t2", "S0", "S1")
    assert found[0].chance > 0.9


def test_the_verdict_that_hangs_on_a_slip_is_named():
    ratings, samples = clean(12)
    row = position(ratings, "t2", "S5", "a0")
    true = fit(ratings, samples).compare("S0", "S5", 0.4)["a0"].verdict
    values = [v if i != row else 10.0 for i, v in enumerate(ratings["rating"])]
    slipped = {**ratings, "rating": values}
    beliefs = fit(slipped, samples)
    odd = [o for o in review(slipped, samples, beliefs).odd if o.row == row + 1]
    changes = verdicts_without(slipped, samples, beliefs, odd, [("S0", "S5"), ("S1", "S2")], 0.4)
    assert [(c.first, c.second, c.attribute) for c in changes] == [("S0", "S5", "a0")]
    assert (changes[0].before, changes[0].after) == ("not enough cups", "same")
    assert true == "same"
    assert verdicts_without(slipped, samples, beliefs, [], [("S0", "S5")], 0.4) == ()


def test_ratings_that_contradict_the_priors_are_said_so_plainly():
    ratings, samples, _ = small_table(2, attributes=1, tasters=6)
    ratings["rating"] = [
        float(np.clip(r + (4.5 if t in ("t0", "t1") else -3.5), 0, 10))
        for t, r in zip(ratings["taster"], ratings["rating"], strict=True)
    ]
    found = review(ratings, samples, fit(ratings, samples)).conflicts
    assert len(found) >= 1
    assert found[0].startswith("a0: tasters differ more")


def test_only_the_cuppings_asked_for_are_looked_at():
    ratings, samples = clean()
    ratings["cupping"] = ["k1" if s in ("S0", "S1", "S2") else "k2" for s in ratings["sample"]]
    beliefs = fit(ratings, samples)
    found = review(ratings, samples, beliefs, cuppings=["k2"])
    assert {s.sample for s in found.left_out["a0"]} == {"S3", "S4", "S5", "S6"}
    whole = {s.sample: s for s in review(ratings, samples, beliefs).left_out["a0"]}
    assert found.left_out["a0"][0].predicted == pytest.approx(whole["S3"].predicted, abs=1e-6)
    with pytest.raises(InputError, match="did you mean 'k2'"):
        review(ratings, samples, beliefs, cuppings=["k22"])
    other = {**samples, "component": [f"{c}!" for c in samples["component"]]}
    with pytest.raises(InputError, match="another table"):
        review(ratings, other, beliefs)
