from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rooms.recipe.fake import FakeBeliefs, Mixture, make

from coupage.errors import InputError
from coupage.recipe import who_notices


def known(**means: float) -> FakeBeliefs:
    """Two coffees, known exactly: b lies the given points above a in each attribute."""
    mixtures = {
        name: Mixture(np.ones(1), np.array([[4.0, 4.0 + gap, 0.0]]), np.zeros((1, 3, 3)))
        for name, gap in means.items()
    }
    return FakeBeliefs(("a", "b"), mixtures)


def test_a_published_triangle_test() -> None:
    """A share of 0.2 who notice is 0.4667 right in a triangle test and a d-prime of 1.287124.

    Christensen (2023), "Statistical methodology for sensory discrimination tests and its
    implementation in sensR", package vignette, rescaling example; tolerance 2e-5 there, wider
    here because d-primes between grid points are interpolated.
    """
    beliefs = known(body=1.287124 * 0.8)
    told = who_notices(beliefs, {"a": 1}, {"b": 1}, noise={"body": 0.8})
    assert told.d_prime == pytest.approx(1.287124, abs=1e-6)
    assert told.right == pytest.approx(0.4666667, abs=1e-4)
    assert told.noticing == pytest.approx(0.2, abs=2e-4)


def test_the_same_recipe_is_only_guessed() -> None:
    told = who_notices(make(3, 2, 2, np.random.default_rng(0)), *[{"coffee 1": 1}] * 2, noise=NOISE)
    assert told.d_prime == pytest.approx(0, abs=1e-9)
    assert told.right == pytest.approx(1 / 3)
    assert told.noticing == pytest.approx(0, abs=1e-9)


NOISE = {"attribute 1": 1.0, "attribute 2": 1.0}


def test_attributes_add_as_squares() -> None:
    told = who_notices(
        known(body=0.6, acidity=-0.8), {"a": 1}, {"b": 1}, noise={"body": 1.0, "acidity": 0.5}
    )
    assert told.d_prime == pytest.approx(np.hypot(0.6, 1.6), abs=1e-6)
    assert told.attributes["acidity"].difference == pytest.approx(-0.8, abs=1e-6)
    assert told.attributes["acidity"].d_prime == pytest.approx(1.6, abs=1e-6)
    one = who_notices(
        known(body=0.6, acidity=-0.8), {"a": 1}, {"b": 1}, noise={"body": 1.0}, attributes=["body"]
    )
    assert one.d_prime == pytest.approx(0.6, abs=1e-6)


@settings(deadline=None, max_examples=20)
@given(st.integers(0, 1000), st.floats(0.2, 3))
def test_more_noise_hides_more_and_the_order_does_not_matter(seed: int, noise: float) -> None:
    beliefs = make(3, 2, 2, np.random.default_rng(seed))
    a, b = {"coffee 1": 0.5, "coffee 2": 0.5}, {"coffee 2": 0.3, "coffee 3": 0.7}
    clear = who_notices(beliefs, a, b, noise=dict.fromkeys(NOISE, noise), draws=500)
    noisy = who_notices(beliefs, a, b, noise=dict.fromkeys(NOISE, 2 * noise), draws=500)
    back = who_notices(beliefs, b, a, noise=dict.fromkeys(NOISE, noise), draws=500)
    assert clear.guess <= noisy.right <= clear.right + 1e-12
    assert clear.right <= 1
    assert back.right == pytest.approx(clear.right)
    assert clear.right_low90 <= clear.right_high90


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"a": {"z": 1}, "b": {"b": 1}}, "'z' is not among"),
        ({"a": {"a": 0.5}, "b": {"b": 1}}, "sum to 0.5"),
        ({"a": {"a": 1}, "b": {"b": 1}, "noise": {}}, "nothing is given for 'body'"),
        ({"a": {"a": 1}, "b": {"b": 1}, "noise": {"body": 0}}, "more than 0"),
        ({"a": {"a": 1}, "b": {"b": 1}, "attributes": ["aroma"]}, "never rated"),
    ],
)
def test_bad_arguments_are_named(arguments: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        who_notices(known(body=1.0), **{"noise": {"body": 1.0}, **arguments})  # type: ignore[arg-type]
