"""What people hand in: read when it can be, refused with row, column and remedy when not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rooms.panel.tables import small_table

from coupage.errors import InputError
from coupage.panel import fit
from coupage.panel.columns import read_ratings, read_samples

SAMPLES = {"sample": ["A", "A", "B"], "component": ["x", "y", "x"], "proportion": [0.4, 0.6, 1.0]}
RATINGS = {
    "cupping": [1, 1, 1],
    "taster": ["t", "t", "u"],
    "sample": ["A", "B", "A"],
    "attribute": ["body"] * 3,
    "rating": [5.0, 6.5, None],
}


def read(samples=SAMPLES, ratings=RATINGS, **options):
    known = read_samples(samples, reference_age=7.0)
    options = {"attributes": None, "scale": (0.0, 10.0)} | options
    return read_ratings(ratings, known.names, **options)


def test_rows_without_a_rating_are_skipped():
    assert read().rating.tolist() == [5.0, 6.5]
    for gap in (float("nan"), "", None):
        assert len(read(ratings={**RATINGS, "rating": [5, gap, 7]}).rating) == 2


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"rating": [5, "six", 7]}, "row 2, column 'rating': 'six' is not a number"),
        ({"rating": [5, 80, 7]}, "row 2, column 'rating': 80 is off the scale from 0 to 10"),
        ({"rating": [5, float("inf"), 7]}, "row 2, .* off the scale"),
        ({"sample": ["A", "Bb", "A"]}, "row 2, column 'sample': 'Bb' is not among the samples"),
        ({"taster": ["t", None, "u"]}, "row 2, column 'taster' is empty"),
        ({"taster": ["t", "u"]}, "column 'taster' has 2 rows, the others 3"),
        ({"sample": ["A", "A", "B"]}, "rows 1 and 2 rate the same cup"),
        ({"rating": [[5], [6], [7]]}, "2 dimensions"),
    ],
)
def test_wrong_ratings_are_refused_with_the_place_and_the_remedy(changes, message):
    with pytest.raises(InputError, match=message):
        read(ratings={**RATINGS, **changes})


def test_a_missing_column_is_named():
    with pytest.raises(InputError, match="no column 'taster'; needed are cupping, taster"):
        read(ratings={k: v for k, v in RATINGS.items() if k != "taster"})


def test_an_attribute_that_nobody_rated_is_refused_with_the_nearest():
    with pytest.raises(InputError, match="'bodi' was not rated; did you mean 'body'"):
        read(attributes=["bodi"])


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"proportion": [0.4, 0.59, 1]}, "sample 'A' adds up to 0.99, not 1"),
        ({"proportion": [40, 60, 100]}, "divide by 100"),
        ({"proportion": [-0.4, 1.4, 1]}, "row 1, column 'proportion': -0.4 is not a share"),
        ({"proportion": ["x", 1, 1]}, "'x' is not a number"),
        ({"age_days": [3, -2, 1]}, "row 2, column 'age_days': -2 is not an age"),
        ({"lot": ["L1", "L2", "L3"]}, "row 3, column 'lot': component 'x' is of lot 'L3' here"),
        ({"batch": ["p", "p", "p"]}, "batch 'p' holds 'x' and 'y' in sample 'A' and 'x' in 'B'"),
    ],
)
def test_wrong_samples_are_refused_with_the_place_and_the_remedy(changes, message):
    with pytest.raises(InputError, match=message):
        read_samples({**SAMPLES, **changes}, reference_age=7.0)


def test_one_roast_of_a_blend_is_one_batch():
    found = read_samples({**SAMPLES, "batch": ["p", "p", None]}, reference_age=7.0)
    assert found.batches == ("p", "(unnamed, x in B)")
    assert found.batch_shares.toarray() == pytest.approx(np.array([[1.0, 0], [0, 1]]))


def test_ages_count_from_the_reference_by_share_and_gaps_count_nothing():
    found = read_samples({**SAMPLES, "age_days": [17, 7, None]}, reference_age=7.0)
    assert found.age.tolist() == pytest.approx([4.0, 0.0])


def test_features_are_scaled_numbers_and_one_column_a_word():
    features = {"component": ["x", "y", "z"], "level": [1, 3, 5], "process": ["dry", "wet", None]}
    found = read_samples(SAMPLES, reference_age=7.0, features=features)
    assert found.components == ("x", "y", "z")
    assert found.feature_names == ("level", "process: dry", "process: wet")
    assert found.features[:, 0] == pytest.approx([-1.2247449, 0, 1.2247449])
    assert found.features[:, 1:].tolist() == [[1, 0], [0, 1], [0, 0]]


def test_frames_arrays_and_numbers_as_names_read_alike():
    pandas = pytest.importorskip("pandas")
    ratings, samples, _ = small_table(2, attributes=1)
    numbers = {**ratings, "taster": [float(t[1:]) for t in ratings["taster"]]}
    arrays = {k: np.array(v) for k, v in numbers.items()}
    frame = pandas.DataFrame(numbers).astype({"taster": "category"})
    names = read_samples(samples, reference_age=7).names
    found = [
        read_ratings(t, names, attributes=None, scale=(0, 10)) for t in (numbers, arrays, frame)
    ]
    for other in found[1:]:
        assert other.tasters == found[0].tasters == ("0", "1", "2", "3", "4")
        assert np.array_equal(other.rating, found[0].rating)
        assert np.array_equal(other.place, found[0].place)
    assert pandas.DataFrame(samples).shape[0] == len(samples["sample"])
    assert fit(frame, pandas.DataFrame(samples)).components == ("hill", "lake", "shore")


@settings(deadline=None, max_examples=25)
@given(st.permutations(range(20)), st.integers(0, 3))
def test_the_order_of_the_rows_changes_nothing_but_the_order_of_names(order, seed):
    ratings, samples, _ = small_table(seed, attributes=1)
    rows = [*order, *range(20, len(ratings["rating"]))]
    turned = {k: [v[i] for i in rows] for k, v in ratings.items()}
    known = read_samples(samples, reference_age=7.0)
    options = {"attributes": None, "scale": (0.0, 10.0)}
    one = read_ratings(ratings, known.names, **options)
    two = read_ratings(turned, known.names, **options)
    as_rows = [
        sorted(zip(np.array(t.tasters)[t.taster], t.sample, t.rating, strict=True))
        for t in (one, two)
    ]
    assert as_rows[0] == as_rows[1]
