"""Scooped cups: tests/references/particle_sampling, exact draws, simulated draws."""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multinomial, multivariate_hypergeom

from coupage.errors import InputError
from coupage.table import absent_chance, scoop_advice, scoop_error

CASES = json.loads(
    (Path(__file__).parents[2] / "references/particle_sampling/scoops.json").read_text("utf-8")
)


def test_the_fundamental_error_of_loose_particles() -> None:
    case = CASES["g-01-cup-composition"]
    beans = [case["inputs"]["mA"], case["inputs"]["mB"]]
    sd = scoop_error([0.1, 0.9], beans, case["inputs"]["dose_g"])
    assert sd[0] / 0.1 == pytest.approx(case["expected"]["rsd_w10_8.25g"], rel=1e-9)
    assert sd[0] / 0.1 == pytest.approx(0.4008, rel=0.01)  # the simulation named in SOURCE.md


def test_the_sd_of_a_count_of_equal_beans() -> None:
    case = CASES["g-01-cup-composition"]
    cup = case["expected"]["n_beans"] * case["inputs"]["bean_g"]
    sd = scoop_error([0.1, 0.9], 0.13, cup)
    assert sd[0] == pytest.approx(case["expected"]["sd_number_fraction_p10"], rel=1e-9)


def test_a_small_part_may_be_absent() -> None:
    case = CASES["g-01-cup-composition"]
    chance = absent_chance([0.05, 0.95], case["inputs"]["bean_g"], case["inputs"]["dose_g"])
    assert chance[0] == pytest.approx(case["expected"]["P_absent_p5"], rel=1e-9)


def test_a_finite_lot_hides_its_bad_beans_less() -> None:
    case = CASES["g-02-defect-in-cup"]
    i, bean = case["inputs"], 0.13
    shares = [i["bad"] / i["lot_beans"], 1 - i["bad"] / i["lot_beans"]]
    for cups, key in ((1, "one_cup"), (i["cups"], "any_of_5")):
        chance = absent_chance(
            shares, bean, cups * i["cup"] * bean, lot_grams=i["lot_beans"] * bean
        )
        assert 1 - chance[0] == pytest.approx(case["expected"][key], rel=1e-9)


def test_the_finite_lot_factor() -> None:
    case = CASES["g-03-finite-lot"]
    i, bean = case["inputs"], 0.13
    sd = scoop_error([i["p"], 1 - i["p"]], bean, i["n"] * bean, lot_grams=i["N"] * bean)
    assert sd[0] == pytest.approx(case["expected"]["sd"], rel=1e-9)


@pytest.mark.parametrize("counts", [(3, 4, 5), (30, 20, 10), (2, 40, 18)])
@pytest.mark.parametrize("drawn", [1, 5, 11])
def test_equal_beans_are_exactly_multivariate_hypergeometric(
    counts: tuple[int, ...], drawn: int
) -> None:
    total = sum(counts)
    exact = np.sqrt(np.diag(multivariate_hypergeom.cov(m=counts, n=drawn))) / drawn
    ours = scoop_error(np.array(counts) / total, 0.15, drawn * 0.15, lot_grams=total * 0.15)
    np.testing.assert_allclose(ours, exact, rtol=1e-9)


def test_unequal_beans_against_every_possible_cup() -> None:
    """All 2,016 cups of 62 beans from three coffees; first order in 1/n is within 1 %."""
    x, beans, n = np.array([0.5, 0.3, 0.2]), np.array([0.16, 0.12, 0.14]), 62
    p = x / beans / (x / beans).sum()
    cups = np.array([(a, b, n - a - b) for a, b in product(range(n + 1), repeat=2) if a + b <= n])
    chance = multinomial.pmf(cups, n, p)
    shares = cups * beans / (cups @ beans)[:, None]
    mean = chance @ shares
    exact = np.sqrt(chance @ (shares - mean) ** 2)
    np.testing.assert_allclose(mean, x, atol=0.002)
    np.testing.assert_allclose(scoop_error(x, beans, n / (x / beans).sum()), exact, rtol=0.01)


def test_simulated_scoops_filled_to_a_mass() -> None:
    """Beans of scattered mass drawn one by one until the cup holds 8.25 g."""
    rng = np.random.default_rng(11)
    x, beans, cv, cups = np.array([0.6, 0.25, 0.15]), np.array([0.17, 0.12, 0.14]), 0.4, 20_000
    p = x / beans / (x / beans).sum()
    kind = rng.choice(3, p=p, size=(cups, 130))
    mass = beans[kind] * rng.gamma(1 / cv**2, cv**2, size=kind.shape)
    inside = np.cumsum(mass, axis=1) - mass < 8.25
    assert not inside[:, -1].any()
    shares = np.stack([(mass * inside * (kind == k)).sum(axis=1) for k in range(3)], axis=1)
    shares /= shares.sum(axis=1, keepdims=True)
    ours = scoop_error(x, beans, 8.25, bean_cv=cv)
    # Monte Carlo error of an sd from 20,000 cups is 0.5 %; the order of 1/n adds 1 %.
    np.testing.assert_allclose(shares.std(axis=0), ours, rtol=0.025)


@given(
    parts=st.lists(st.floats(0.01, 1), min_size=2, max_size=7),
    bean=st.floats(0.05, 0.3),
    cup=st.floats(1, 500),
)
@settings(max_examples=60, deadline=None)
def test_shape_of_the_error(parts: list[float], bean: float, cup: float) -> None:
    x = np.array(parts) / sum(parts)
    beans = bean * np.linspace(0.8, 1.2, len(x))
    sd = scoop_error(x, beans, cup)
    np.testing.assert_allclose(scoop_error(x, beans, 4 * cup), sd / 2, rtol=1e-9)
    np.testing.assert_allclose(scoop_error(x, beans, cup, lot_grams=1e12), sd, rtol=1e-6)
    assert (scoop_error(x, beans, cup, lot_grams=cup) == 0).all()
    np.testing.assert_allclose(scoop_error(x[::-1], beans[::-1], cup), sd[::-1], rtol=1e-9)
    if len(x) == 2:  # what one gains the other loses
        assert sd[0] == pytest.approx(sd[1])


def test_a_straight_coffee_has_no_error() -> None:
    assert scoop_error([1.0], 0.13, 8.25).tolist() == [0.0]
    assert scoop_error([1.0], 0.13, 0.13, lot_grams=0.13).tolist() == [0.0]
    assert scoop_error([1.0, 0.0], 0.13, 8.25).tolist() == [0.0, 0.0]


def test_the_advice_follows_the_tolerance() -> None:
    assert scoop_advice([0.5, 0.5], 0.13, 8.25).startswith("Weigh the components")
    assert scoop_advice([0.5, 0.5], 0.13, 8.25, tolerance=0.2).startswith("A scoop")


@pytest.mark.parametrize(
    ("arguments", "keywords", "says"),
    [
        (([0.5, 0.4], 0.13, 8.25), {}, "sum to 1"),
        (([0.5, 0.5], [0.1, 0.1, 0.1], 8.25), {}, "3 masses came for 2"),
        (([0.5, 0.5], 0.0, 8.25), {}, "positive mass"),
        (([0.5, 0.5], 0.13, 0), {}, "cup_grams: 0"),
        (([0.5, 0.5], 0.13, 8.25), {"lot_grams": 8}, "lot_grams: 8"),
        (([0.5, 0.5], 0.13, 8.25), {"bean_cv": -0.1}, "bean_cv"),
    ],
)
def test_impossible_scoops_are_refused(arguments: tuple, keywords: dict, says: str) -> None:
    with pytest.raises(InputError, match=says):
        scoop_error(*arguments, **keywords)
