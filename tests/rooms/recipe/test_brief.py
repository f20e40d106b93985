from __future__ import annotations

import math

import pytest

import coupage.recipe
from coupage.errors import InputError
from coupage.recipe import Brief, Want


def test_every_public_name_is_exported() -> None:
    assert all(hasattr(coupage.recipe, name) for name in coupage.recipe.__all__)


@pytest.mark.parametrize(
    ("want", "event"),
    [
        (Want("body", "at least", 6), (6, math.inf)),
        (Want("body", "at least", 6, 8), (6, math.inf)),
        (Want("body", "at most", high=4), (-math.inf, 4)),
        (Want("body", "at most", 2, 4), (-math.inf, 4)),
        (Want("body", "between", 5, 7), (5, 7)),
        (Want("body", "close to", 5, 7), (5, 7)),
    ],
)
def test_a_want_is_an_interval(want: Want, event: tuple[float, float]) -> None:
    assert want.event == event


def test_must_haves_alone_make_the_event() -> None:
    brief = Brief(
        "milk",
        (
            Want("body", "at least", 6, must=True),
            Want("body", "at most", high=9, must=True),
            Want("acidity", "at most", high=4),
        ),
    )
    assert brief.events == {"body": (6, 9)}
    assert brief.attributes == ("body", "acidity")


def test_without_must_haves_every_want_counts() -> None:
    brief = Brief("milk", (Want("body", "at least", 6), Want("acidity", "at most", high=4)))
    assert brief.events == {"body": (6, math.inf), "acidity": (-math.inf, 4)}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"attribute": "", "low": 6}, "no name"),
        ({"kind": "around", "low": 6}, "use one of 'at least'"),
        ({"kind": "at least", "high": 6}, "needs low="),
        ({"kind": "at most", "low": 6}, "needs high="),
        ({"kind": "between", "low": 6}, "needs high="),
        ({"kind": "between", "low": 6, "high": 5}, "swap or widen"),
        ({"kind": "at least", "low": math.nan}, "finite"),
        ({"low": 6, "importance": 0}, "importance"),
        ({"low": 6, "fade": -1}, "fade"),
        ({"low": 6, "target": 7}, "only 'close to'"),
        ({"kind": "close to", "low": 6, "high": 7, "target": 8}, "outside 6 to 7"),
    ],
)
def test_a_bad_want_is_refused(arguments: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Want(**{"attribute": "body", **arguments})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"wants": ()}, "no wants"),
        ({"cost_cap": 0}, "cost_cap"),
        ({"max_components": 0}, "max_components"),
        ({"max_components": 2.5}, "whole number"),
        ({"min_share": 5}, "min_share"),
        (
            {"wants": (Want("body", "at least", 6), Want("body", "at most", high=5))},
            "no intensity of 'body'",
        ),
    ],
)
def test_a_bad_brief_is_refused(arguments: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Brief(**{"name": "milk", "wants": (Want("body", low=6),), **arguments})  # type: ignore[arg-type]
