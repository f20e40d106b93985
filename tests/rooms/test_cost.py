from __future__ import annotations

import json
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import coupage.cost
from coupage.cost import component_costs, price_for_margin, roasted_cost
from coupage.errors import InputError

EXAMPLE = json.loads(
    (Path(__file__).parents[1] / "references/scaa_2009_cost/example.json").read_text("utf-8")
)
CENT = Decimal("0.005")


def test_every_public_name_is_exported() -> None:
    assert all(hasattr(coupage.cost, name) for name in coupage.cost.__all__)


def test_green_is_divided_by_the_yield_as_in_the_scaa_example() -> None:
    """SCAA (2009): (1.89 + 0.12) / 0.82 = 2.45 $/lb, of which 0.44 is shrink."""
    card = roasted_cost({"house": 1}, EXAMPLE["green"], EXAMPLE["loss"], freight=EXAMPLE["freight"])
    lines = {line.what: line.per_kg for line in card.lines}
    assert lines["landed green"] == Decimal(EXAMPLE["lines"]["green and shipping"])
    assert abs(lines["weight lost in roasting"] - Decimal(EXAMPLE["lines"]["shrink"])) < CENT
    assert abs(card.total - Decimal(EXAMPLE["roasted"])) < CENT


def test_the_full_stack_of_the_scaa_example_adds_up() -> None:
    """SCAA (2009): cost 6.49 $/lb."""
    stack = {k: Decimal(v) for k, v in EXAMPLE["lines"].items()}
    card = roasted_cost(
        {"house": 1},
        EXAMPLE["green"],
        EXAMPLE["loss"],
        freight=EXAMPLE["freight"],
        packaging=stack["packaging"],
        labour=stack["direct labour"] + stack["other wages"],
        overhead=stack["fee"] + stack["selling and administration"] + stack["capital"],
    )
    assert abs(card.total - Decimal(EXAMPLE["cost"])) < CENT
    assert card.total == sum(line.per_kg for line in card.lines)
    assert card.total - card.coffee == sum(
        Decimal(EXAMPLE["lines"][k])
        for k in EXAMPLE["lines"]
        if k not in ("green and shipping", "shrink")
    )


def test_adding_the_shrink_would_fall_short_by_the_published_share() -> None:
    """Own arithmetic on a mistake voiced in forums: 1.18 against 1/0.82 = 1.2195."""
    right = roasted_cost({"a": 1}, 1, 0.18).total
    assert round(right, 4) == Decimal("1.2195")
    assert round((right / Decimal("1.18") - 1) * 100, 2) == Decimal("3.35")


@pytest.mark.parametrize(
    ("loss", "green_kg"),
    [("0.12", 1.136), ("0.14", 1.163), ("0.16", 1.190), ("0.18", 1.220), ("0.20", 1.250)],
)
def test_green_per_roasted_kilogram(loss: str, green_kg: float) -> None:
    """1 / (1 - loss), arithmetic to three decimals."""
    (line,) = roasted_cost({"a": 1}, 5, Decimal(loss)).green
    assert float(line.green_kg) == pytest.approx(green_kg, abs=5e-4)


def test_price_leaves_the_margin_that_was_asked_for() -> None:
    """By definition margin = (price - cost) / price."""
    card = roasted_cost({"a": "0.6", "b": "0.4"}, {"a": 6, "b": 9}, 0.15, packaging="0.8")
    price = price_for_margin(card, "0.35")
    assert abs(card.margin(price) - Decimal("0.35")) < Decimal("1e-24")
    assert price_for_margin(65, "0.35") == 100


def test_duty_falls_on_price_and_freight() -> None:
    (line,) = roasted_cost({"a": 1}, 4, 0, freight=1, duty="0.1").green
    assert line.landed == Decimal("5.5")


def test_a_price_move_is_a_straight_line_through_the_present_price() -> None:
    card = roasted_cost({"a": 0.25, "b": 0.75}, {"a": 6, "b": 9}, {"a": 0.2, "b": 0.1}, duty=0.1)
    assert card.if_price("a", 6) == card.total
    dearer = roasted_cost({"a": 0.25, "b": 0.75}, {"a": 8, "b": 9}, {"a": 0.2, "b": 0.1}, duty=0.1)
    assert card.if_price("a", 8) == dearer.total
    with pytest.raises(InputError, match="not in this recipe"):
        card.if_price("c", 8)


shares = st.lists(st.integers(1, 100), min_size=1, max_size=5)
cents = st.integers(1, 5000).map(lambda c: Decimal(c) / 100)
losses = st.integers(0, 40).map(lambda c: Decimal(c) / 100)


@settings(deadline=None, max_examples=60)
@given(shares, st.data())
def test_the_card_agrees_with_fractions(parts: list[int], data: st.DataObject) -> None:
    names = [f"c{i}" for i in range(len(parts))]
    total = sum(parts)
    # Shares in binary-exact quarters of a thousandth keep the oracle exact.
    recipe = {n: Decimal(round(p * 4096 / total)) / 4096 for n, p in zip(names, parts, strict=True)}
    recipe[names[0]] += 1 - sum(recipe.values())
    price = {n: data.draw(cents) for n in names}
    loss = {n: data.draw(losses) for n in names}
    exact = sum(Fraction(recipe[n]) * Fraction(price[n]) / (1 - Fraction(loss[n])) for n in names)
    card = roasted_cost(recipe, price, loss)
    assert abs(Fraction(card.total) - exact) < Fraction(1, 10**22)
    alone = component_costs(price, loss)
    assert abs(sum(recipe[n] * alone[n] for n in names) - card.coffee) < Decimal("1e-20")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (({}, 5, 0.1), "empty"),
        (({"a": 0.5, "b": 0.4}, 5, 0.1), "sum to 0.9"),
        (({"a": 1}, {"b": 5}, 0.1), "green_price: nothing is given for 'a'"),
        (({"a": 1}, 5, 1), "leaves no coffee"),
        (({"a": 1}, -5, 0.1), "0 or more"),
        (({"a": 1}, "five", 0.1), "not a number"),
        (({"a": 1}, float("nan"), 0.1), "finite"),
    ],
)
def test_bad_amounts_are_named(arguments: tuple[object, ...], words: str) -> None:
    with pytest.raises(InputError, match=words):
        roasted_cost(*arguments)  # type: ignore[arg-type]


@pytest.mark.parametrize("margin", [1, 1.5, -0.1, "25 %"])
def test_a_margin_is_a_share_of_the_price(margin: object) -> None:
    with pytest.raises(InputError, match="margin"):
        price_for_margin(5, margin)  # type: ignore[arg-type]
