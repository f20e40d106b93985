"""The draw is fixed by its seed and follows the model of the table."""

from __future__ import annotations

import numpy as np
import pytest

from coupage.errors import InputError
from coupage.web.demo.generate import demo_truth, generate, panel_columns
from coupage.web.demo.scenario import SCENARIO as S
from coupage.web.demo.truth import Spreads

NOTHING = Spreads(
    lot=0, approach=0, pairing=0, batch=0, taster=0, cupping=0, view=0, noise=0, noise_ratio=0,
    passes=0, age=0,
)  # fmt: skip


@pytest.fixture(scope="module")
def drawn():
    return generate()


def test_one_seed_gives_one_demo(drawn) -> None:
    again = generate()
    assert again == drawn
    np.testing.assert_array_equal(again.truth.theta, drawn.truth.theta)
    np.testing.assert_array_equal(demo_truth().gamma, drawn.truth.gamma)


def test_another_seed_gives_another_truth(drawn) -> None:
    other = generate(seed=drawn.seed + 1)
    assert not np.allclose(other.truth.theta, drawn.truth.theta)
    assert [r.value for r in other.ratings] != [r.value for r in drawn.ratings]


def test_ratings_are_half_points_from_0_to_10(drawn) -> None:
    values = np.array([r.value for r in drawn.ratings])
    assert (values * 2 == np.round(values * 2)).all()
    assert values.min() >= 0
    assert values.max() <= 10
    # Hardly any at the ends, so that the scale does not bend what is learned.
    assert np.mean((values == 0) | (values == 10)) < 0.01


def test_each_taster_rates_each_cup_once_a_pass_and_attribute(drawn) -> None:
    keys = {(r.cupping, r.taster, r.code, r.pass_name, r.attribute) for r in drawn.ratings}
    assert len(keys) == len(drawn.ratings)
    per_table = {c.key: sum(r.cupping == c.key for r in drawn.ratings) for c in S.cuppings}
    for cupping in S.cuppings:
        cups = sum(cupping.cups.values())
        passes = len(S.protocol[cupping.protocol].passes)
        full = cups * len(cupping.tasters) * passes * len(S.attributes)
        if cupping.state == "revealed":
            assert per_table[cupping.key] == full
        elif cupping.state == "open":
            assert 0.3 * full < per_table[cupping.key] < 0.7 * full
        else:
            assert per_table[cupping.key] == 0


def test_codes_differ_on_a_table_and_everybody_gets_every_cup(drawn) -> None:
    for cupping in S.cuppings:
        codes = [cup.code for cup in drawn.cups if cup.cupping == cupping.key]
        assert len(set(codes)) == len(codes) == sum(cupping.cups.values())
        for taster in cupping.tasters:
            served = [s for s in drawn.servings if (s.cupping, s.taster) == (cupping.key, taster)]
            assert sorted(s.code for s in served) == sorted(codes)
            assert sorted(s.position for s in served) == list(range(1, len(codes) + 1))


def test_without_any_chance_a_rating_is_the_sum_of_the_model() -> None:
    # Worked by hand: Ropewalk 2 on its table, 42a, 42b, 42c at 50, 35, 15 per cent.
    drawn = generate(spreads=NOTHING)
    sweet = 0.50 * 5.8 + 0.35 * 5.6 + 0.15 * (3.4 - 0.1)  # the canephora is roasted a step longer
    sweet += 0.50 * 0.15 * -1.2  # the pairing of Tovaco and Ondakal
    age = 2 + np.array([600 - 550, 600 - 569, 600 - 588]) / 1440
    sweet += -0.012 * (np.array([0.50, 0.35, 0.15]) @ (age - 7))
    codes = [c.code for c in drawn.cups if (c.cupping, c.sample) == ("c3", "rope-2")]
    given = [
        r.value
        for r in drawn.ratings
        if r.cupping == "c3" and r.code in codes and r.attribute == "sweetness"
    ]
    assert len(codes) == 2
    assert len(given) == 2 * 6 * 2
    assert set(given) == {round(sweet * 2) / 2}
    assert drawn.truth.profile(
        {"Tovaco (medium)": 0.50, "Tres Umbrales (medium)": 0.35, "Ondakal (long)": 0.15},
        age_days=float(np.array([0.50, 0.35, 0.15]) @ age),
    )["sweetness"] == pytest.approx(sweet)


def test_a_faulty_batch_tastes_of_its_fault(drawn) -> None:
    truth = drawn.truth
    difference = truth.batch["14c"] - truth.batch["14b"]
    roast = truth.attributes.index("roast")
    assert difference[roast] > 1.0
    assert np.abs(truth.batch["14a"] - truth.batch["21b"]).max() < 0.5


def test_a_batch_lies_near_its_targets_unless_it_has_a_fault(drawn) -> None:
    misses = 0
    for plan, row in zip(S.batches, drawn.batches, strict=True):
        number, target = S.version_on(plan.approach, plan.days_ago)
        assert (row.batch, row.version) == (plan.key, number)
        assert 0 < row.roasted_g < row.green_g
        assert row.first_crack_s < row.seconds
        if plan.fault.colour:
            assert np.sign(row.colour - target.colour) == np.sign(plan.fault.colour)
        # Common practice, and the defaults of the program: 2 units of colour, half a point of loss.
        loss = 100 * (1 - row.roasted_g / row.green_g)
        misses += abs(row.colour - target.colour) > 2 or abs(loss - target.loss_pct) > 0.5
    assert 4 <= misses <= 12


def test_only_revealed_tables_become_columns(drawn) -> None:
    ratings, samples = panel_columns(drawn)
    assert set(ratings["cupping"]) == {"c1", "c2", "c3", "c4", "c5", "c6", "a2", "a5", "a9", "a14"}
    assert set(ratings["sample"]) == set(samples["sample"])
    shares: dict[str, float] = {}
    for sample, share in zip(samples["sample"], samples["proportion"], strict=True):
        shares[sample] = shares.get(sample, 0) + share
    assert all(total == pytest.approx(1) for total in shares.values())
    assert len(samples["sample"]) == len(set(zip(samples["sample"], samples["batch"], strict=True)))
    assert min(samples["age_days"]) > 0


def test_the_truth_of_an_unknown_coffee_is_refused_by_name() -> None:
    with pytest.raises(InputError, match="'Tovaco, burnt'"):
        demo_truth().profile({"Tovaco, burnt": 1.0})
