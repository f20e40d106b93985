"""Samples judged together are judged as one by one, and bad questions are refused."""

from __future__ import annotations

from itertools import combinations

import pytest
from tests.rooms.panel.tables import small_table

from coupage.errors import InputError
from coupage.panel import Beliefs, fit, judge_samples


@pytest.fixture(scope="module")
def beliefs() -> Beliefs:
    ratings, samples, _ = small_table(3, attributes=2)
    return fit(ratings, samples)


def test_every_pair_is_what_compare_and_joint_say_of_it(beliefs: Beliefs) -> None:
    limits = dict.fromkeys(beliefs.attributes, 1.0)
    judged = judge_samples(beliefs, beliefs.samples, limits)
    assert set(judged.pairs) == set(combinations(beliefs.samples, 2))
    for (a, b), pair in judged.pairs.items():
        for attribute, alone in beliefs.compare(a, b, 1.0).items():
            ours = pair.by_attribute[attribute]
            for field in ("difference", "sd", "low90", "chance_same", "chance_higher", "cup_sd"):
                assert getattr(ours, field) == pytest.approx(getattr(alone, field), abs=1e-9)
            assert ours.verdict == alone.verdict
        joint = beliefs.joint(a, b, 1.0)
        assert pair.joint is not None
        assert pair.joint.chance_same == pytest.approx(joint.chance_same, abs=1e-9)
        assert judged.pair(b, a) is pair


def test_only_what_is_asked_is_answered_and_only_what_decides_is_joined(beliefs: Beliefs) -> None:
    first, second = beliefs.attributes
    judged = judge_samples(beliefs, beliefs.samples[:2], {second: 1.0}, [first])
    (pair,) = judged.pairs.values()
    assert set(pair.by_attribute) == {second}
    assert pair.joint is None
    assert set(judged.profiles[beliefs.samples[0]]) == {second}
    assert not judge_samples(beliefs, [], {second: 1.0}).pairs
    alone = judge_samples(beliefs, beliefs.samples[:1], {second: 1.0})
    assert len(alone.profiles) == 1
    assert not alone.pairs


@pytest.mark.parametrize(
    ("samples", "limit", "said"),
    [(["nowhere"], 1.0, "no sample 'nowhere'"), ([], 0.0, "must be a number above 0")],
)
def test_a_bad_question_is_refused_with_its_remedy(
    samples: list[str], limit: float, said: str, beliefs: Beliefs
) -> None:
    with pytest.raises(InputError, match=said):
        judge_samples(beliefs, samples, dict.fromkeys(beliefs.attributes, limit))
