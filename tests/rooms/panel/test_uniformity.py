"""Batches beside each other: the pair's own answer, the whole set's, and who stands out."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.rooms.panel.tables import Rows

from coupage.errors import InputError
from coupage.panel import Beliefs, batch_effects, fit, uniformity

TRUTH = (0.0, 0.1, -0.1, 2.5)


def drawn(
    truth: tuple[float, ...] = TRUTH, *, cups: int = 3, noise: float = 0.6, seed: int = 3
) -> Beliefs:
    """One coffee, one batch for each effect, six tasters, two attributes (only the first moves)."""
    rng = np.random.default_rng(seed)
    rows = Rows()
    for b, effect in enumerate(truth):
        rows.samples.append((f"S{b}", "hill", 1.0, f"b{b}", 7, "hill"))
        for t in range(6):
            for cup in range(cups):
                for a, moved in (("body", effect), ("fruit", 0.0)):
                    y = float(np.clip(5 + moved + rng.normal(0, noise), 0, 10))
                    rows.ratings.append(("k1", f"t{t}", f"S{b}", a, y, cup, "hot"))
    return fit(*rows.tables())


@pytest.fixture(scope="module")
def beliefs() -> Beliefs:
    return drawn()


def test_of_two_batches_the_answer_is_that_of_their_samples(beliefs: Beliefs) -> None:
    """A sample of one batch is its coffee plus the batch, so the coffee drops out."""
    found = uniformity(beliefs, ["b0", "b3"], 1.0)
    by_sample = beliefs.compare("S0", "S3", 1.0)
    for attribute, comparison in found.pairs["b0", "b3"].items():
        other = by_sample[attribute]
        assert comparison.difference == pytest.approx(other.difference, abs=1e-9)
        assert comparison.sd == pytest.approx(other.sd, abs=1e-9)
        assert comparison.chance_same == pytest.approx(other.chance_same, abs=1e-9)
        assert found.chance_within[attribute] == comparison.chance_same
        assert comparison.cup_sd == pytest.approx(other.cup_sd)
    assert found.joint["b0", "b3"].verdict == "different"


def test_the_chance_of_a_set_agrees_with_gaussian_integration(beliefs: Beliefs) -> None:
    """Outside: the range of a bivariate difference over a box by scipy's normal integral."""
    from scipy.stats import multivariate_normal

    names = ["b0", "b1", "b2"]
    found = uniformity(beliefs, names, 0.8)
    part = beliefs.parts[beliefs.attributes.index("fruit")]
    columns = np.array([beliefs.layout.first_batch + beliefs.batches.index(n) for n in names])
    mean, covariance = part.block(columns).moments()
    # All three within 0.8: d1 = b1 - b0, d2 = b2 - b0, and their difference, each within 0.8.
    turn = np.array([[-1.0, 1, 0], [-1, 0, 1], [0, -1, 1]])
    box = multivariate_normal(turn @ mean, turn @ covariance @ turn.T, allow_singular=True)
    chance = box.cdf(np.full(3, 0.8), lower_limit=np.full(3, -0.8))
    # The posterior is a mixture, its moments one Gaussian: equal within its mild skew and 20,000
    # draws (4 standard errors: 0.014).
    assert found.chance_within["fruit"] == pytest.approx(float(chance), abs=0.03)


def test_the_odd_one_stands_out_and_its_sisters_do_not(beliefs: Beliefs) -> None:
    found = uniformity(beliefs, ["b0", "b1", "b2", "b3"], 1.0)
    assert found.verdict == "different"
    assert found.stands_out[0] == ("b3", "body", "higher")
    assert {name for name, _, _ in found.stands_out} == {"b3"}
    assert found.needed == pytest.approx(1 - 0.1 / 8)
    assert found.from_others["b3"]["body"].difference == pytest.approx(2.5, abs=0.4)


def test_without_the_odd_one_they_are_the_same(beliefs: Beliefs) -> None:
    found = uniformity(beliefs, ["b0", "b1", "b2"], 1.0)
    assert found.verdict == "same"
    assert found.stands_out == ()
    assert found.further_cups == 0
    product = np.prod([found.chance_within[a] for a in beliefs.attributes])
    assert found.chance_same == pytest.approx(product)


def test_few_cups_say_how_many_more_it_takes() -> None:
    found = uniformity(drawn((0.0, 0.3), cups=1, noise=1.5), ["b0", "b1"], 0.8)
    assert found.verdict == "not enough cups"
    assert found.further_cups is not None
    assert 2 < found.further_cups <= 1000


def test_only_asked_attributes_count(beliefs: Beliefs) -> None:
    found = uniformity(beliefs, ["b0", "b3"], {"fruit": 1.0, "body": 1.0}, attributes=["fruit"])
    assert list(found.chance_within) == ["fruit"]
    assert found.verdict == "same"


def test_effects_of_batches_are_known_by_name(beliefs: Beliefs) -> None:
    found = batch_effects(beliefs)
    assert set(found) == {"b0", "b1", "b2", "b3"}
    apart = found["b3"]["body"].mean - found["b0"]["body"].mean
    assert apart == pytest.approx(
        uniformity(beliefs, ["b3", "b0"], 1.0).pairs["b3", "b0"]["body"].difference
    )
    assert abs(found["b3"]["fruit"].mean) < 0.4


@pytest.mark.parametrize(
    ("call", "said"),
    [
        ({"batches": ["b0"], "tolerance": 1.0}, "two or more"),
        ({"batches": ["b0", "b0"], "tolerance": 1.0}, "two or more"),
        ({"batches": ["b0", "b9"], "tolerance": 1.0}, "'b9' was not tasted"),
        ({"batches": ["b0", "b1"], "tolerance": 0.0}, "points above 0"),
        ({"batches": ["b0", "b1"], "tolerance": {}}, "none came"),
        ({"batches": ["b0", "b1"], "tolerance": 1.0, "attributes": ["x"]}, "'x' was not fitted"),
    ],
)
def test_bad_input_is_named(call: dict[str, Any], said: str, beliefs: Beliefs) -> None:
    with pytest.raises(InputError, match=said):
        uniformity(beliefs, **call)


def test_what_is_expected_of_sisters_alone_never_makes_them_the_same() -> None:
    """One cup each: the prior finds them alike, the cups do not, and the cups must agree."""
    found = uniformity(drawn((0.0, 0.0), cups=1, noise=0.9, seed=8), ["b0", "b1"], 1.0)
    pair = found.pairs["b0", "b1"]["body"]
    alone = found.by_cups["b0", "b1"]["body"]
    assert alone.sd > 1.1 * pair.sd
    assert alone.chance_same < pair.chance_same
    # Precisions subtract: the posterior is the cups times the prior.
    assert 1 / pair.sd**2 - 1 / alone.sd**2 > 0
    assert alone.difference / alone.sd**2 == pytest.approx(pair.difference / pair.sd**2)
    few = uniformity(drawn((0.0, 0.0), cups=1, noise=1.6, seed=8), ["b0", "b1"], 1.0)
    assert few.verdict == "not enough cups"
