"""Empty regions name a smallest set of limits that clash."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from coupage.errors import InfeasibleError, InputError
from coupage.mixture import Group, Region


def clash(*args, **kwargs):
    with pytest.raises(InfeasibleError) as caught:
        Region(*args, **kwargs)
    assert isinstance(caught.value, InputError)
    return set(caught.value.clashing)


def test_bounds_of_one_component_clash():
    assert clash("abc", {"a": 0.6}, {"a": 0.5, "b": 0.4}) == {"at least 60 % a", "at most 50 % a"}


def test_lower_bounds_of_more_than_the_whole_clash_and_the_smallest_set_is_named():
    # Piepel (1983): sum of lower bounds 1.1 leaves nothing. Any two here stay below 1.
    assert len(clash("abc", [0.5, 0.4, 0.2])) == 3
    # 0.5 + 0.6 alone suffice; the other three bounds are not to blame.
    assert clash("abcde", [0.1, 0.5, 0.05, 0.6, 0.05]) == {"at least 50 % b", "at least 60 % d"}


def test_upper_bounds_of_less_than_the_whole_clash_all_together():
    assert len(clash("abcd", upper=0.24)) == 4


def test_named_groups_clash_in_plain_words():
    naturals = Group({"a": 1, "b": 1}, upper=0.4)
    washed = Group({"c": 1, "d": 1}, lower=0.7, name="washed")
    assert clash("abcd", {"a": 0.35}, groups=[naturals, washed]) == {
        "at least 35 % a",
        "washed at least 70 %",
    }
    assert clash("abcd", {"a": 0.25, "b": 0.25}, groups=[naturals]) == {
        "at least 25 % a",
        "at least 25 % b",
        "a and b together at most 40 %",
    }


def test_exclusive_sets_take_part():
    found = clash("abc", {"a": 0.1, "b": 0.1}, {"c": 0.9}, exclusive=["ab"])
    assert found == {"at least 10 % a", "at least 10 % b", "at most one of a, b"}


def test_a_hair_of_room_is_room():
    assert Region("abc", upper=[0.3, 0.3, 0.4]).vertices().tolist() == [[0.3, 0.3, 0.4]]
    assert len(clash("abc", upper=[0.3, 0.3, 0.39999])) == 3


def feasible(q, rows, ends):
    answer = linprog(
        np.zeros(q), np.array(rows) if rows else None, ends or None, np.ones((1, q)), [1]
    )
    return answer.status == 0


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_no_smaller_set_clashes(data):
    q = data.draw(st.integers(2, 4))
    names = [f"c{i}" for i in range(q)]
    share = st.integers(0, 10).map(lambda k: k / 10)
    lower = [data.draw(share) for _ in names]
    row = data.draw(st.lists(st.integers(-1, 2), min_size=q, max_size=q).filter(any))
    end = data.draw(st.integers(-5, 10)) / 10
    group = Group(dict(zip(names, map(float, row), strict=True)), upper=end)
    rows = [-e for e, at in zip(np.eye(q), lower, strict=True) if at > 0] + [np.array(row)]
    ends = [-at for at in lower if at > 0] + [end]
    try:
        Region(names, lower, groups=[group])
    except InfeasibleError as error:
        size = len(error.clashing)
        for smaller in range(size):
            for some in combinations(range(len(rows)), smaller):
                assert feasible(q, [rows[k] for k in some], [ends[k] for k in some])
    else:
        assert feasible(q, rows, ends)
