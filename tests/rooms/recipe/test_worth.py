"""What tasting more could still be worth."""

from __future__ import annotations

import numpy as np
import pytest
from tests.rooms.recipe.fake import FakeBeliefs, Mixture

from coupage.errors import InputError
from coupage.recipe import Brief, Want, worth_of_tasting

BRIEF = Brief("b", (Want("body", "at least", low=5),))


def beliefs(means: list[float], sds: list[float], correlation: float = 0.0) -> FakeBeliefs:
    """Two coffees with their bodies, and a pair that counts for nothing."""
    covariance = np.diag([*np.square(sds), 1e-12])
    covariance[0, 1] = covariance[1, 0] = correlation * sds[0] * sds[1]
    return FakeBeliefs(
        ("a", "b"),
        {"body": Mixture(np.ones(1), np.array([[*means, 0.0]]), covariance[None])},
    )


ALONE = [{"a": 1.0}, {"b": 1.0}]


def test_of_two_independent_even_chances_one_is_good_three_times_in_four() -> None:
    # 1 - (1 - 1/2)^2, by the rule for independent events.
    worth = worth_of_tasting(BRIEF, beliefs([5, 5], [1, 1]), ALONE, draws=40_000)
    assert worth.now == pytest.approx(0.5, abs=0.01)
    assert worth.known == pytest.approx(0.75, abs=0.01)
    assert worth.gain == pytest.approx(0.25, abs=0.01)
    assert {worth.best, worth.rival} == {0, 1}
    assert worth.rival_chance == pytest.approx(0.25, abs=0.01)


def test_where_two_stand_and_fall_together_knowing_more_changes_nothing() -> None:
    worth = worth_of_tasting(BRIEF, beliefs([5.2, 5.2], [1, 1], 0.999_999), ALONE)
    assert worth.gain < 0.002


def test_where_one_is_certain_there_is_nothing_to_gain() -> None:
    worth = worth_of_tasting(BRIEF, beliefs([9, 5], [0.1, 1]), ALONE)
    assert (worth.now, worth.known, worth.gain) == (1, 1, 0)
    assert (worth.best, worth.rival, worth.rival_chance) == (0, 0, 0)


def test_bad_arguments_are_named() -> None:
    with pytest.raises(InputError, match="there is none"):
        worth_of_tasting(BRIEF, beliefs([5, 5], [1, 1]), [])
    with pytest.raises(InputError, match="'z' is not among"):
        worth_of_tasting(BRIEF, beliefs([5, 5], [1, 1]), [{"z": 1.0}])
    smoke = Brief("b", (Want("smoke", "at most", high=2),))
    with pytest.raises(InputError, match="'smoke' was never rated"):
        worth_of_tasting(smoke, beliefs([5, 5], [1, 1]), ALONE)
