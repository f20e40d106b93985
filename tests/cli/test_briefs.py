"""The brief's format: everything it can say is read, everything else is told by its key."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.cli.doors import BRIEF

from coupage.cli.briefs import read_brief
from coupage.errors import InputError
from coupage.recipe import Want

WANT = "[want.body]\nat_least = 5\n"


def read(text: str):
    return read_brief(text.encode(), "b.toml")


def test_the_example_is_read():
    made = read_brief(BRIEF.read_bytes(), "brief.toml")
    assert made.brief.name == "Carries in milk"
    assert made.brief.wants[0] == Want("body", "at least", 5, 6.5, 2, True)
    assert made.brief.wants[2] == Want("acidity", "between", 3, 5)
    assert made.brief.wants[3] == Want("bitterness", "at most", None, 5, must=True)
    assert (made.brief.cost_cap, made.brief.max_components) == (14.5, 3)
    assert made.brief.min_share == pytest.approx(0.1)
    assert made.step == Decimal("0.05")
    assert made.coffees["Kiruvi washed"].loss == Decimal("0.14")
    assert made.coffees["Kiruvi washed"].most == Decimal("0.4")
    assert sum(made.costs.values()) == Decimal("3.55")


def test_the_format_in_the_description_is_read_as_it_stands():
    from coupage.cli import briefs

    text = "\n".join(
        line[4:] for line in briefs.__doc__.split("::\n")[1].splitlines() if line.startswith("    ")
    )
    assert read(text).coffees["Wadoru, light"].never_cupped


def test_best_is_the_target_or_the_far_end():
    assert read("[want.a]\nclose_to = [4, 7]\nbest = 6").brief.wants[0].target == 6
    assert read("[want.a]\nat_most = 4\nbest = 3").brief.wants[0].low == 3


def test_shares_are_fractions_or_signed_texts():
    for written in ("0.1", '"10 %"', '"10%"'):
        assert read(f"step = {written}\n{WANT}").step == Decimal("0.1")


@pytest.mark.parametrize(
    ("text", "key", "told"),
    [
        ("", "want", "no attribute"),
        ("[want]\nbody = 5", "want.body", "must be a table"),
        ("[want.body]\nmust = true", "want.body", "no range"),
        (WANT + "at_most = 7", "want.body", "two ranges"),
        (WANT + "at_leest = 7", "want.body.at_leest", "did you mean at_least"),
        ('[want.body]\nat_least = "5"', "want.body.at_least", "without quotes"),
        ("[want.body]\nat_least = nan", "want.body.at_least", "number"),
        ("[want.body]\nbetween = [5]", "want.body.between", "two numbers"),
        ("[want.body]\nbetween = [5, true]", "want.body.between, number 1", "number"),
        ("[want.body]\nbetween = [7, 5]", "want.body", "low 7 must be less"),
        ("[want.body]\nbetween = [3, 5]\nbest = 4", "want.body.best", "close_to"),
        (WANT + "must = 1", "want.body.must", "true or false"),
        (WANT + "importance = 0", "want.body", "importance"),
        ("max_coffees = 2.5\n" + WANT, "max_coffees", "whole number"),
        ("max_cofees = 2\n" + WANT, "max_cofees", "did you mean max_coffees"),
        ("cost_cap = -1\n" + WANT, "cost_cap", "from 0"),
        ("step = 0.03\n" + WANT, "step", "does not divide"),
        ("step = 0\n" + WANT, "step", "does not divide"),
        ("step = 5\n" + WANT, "step", '"15 %"'),
        ('min_share = "ten"\n' + WANT, "min_share", '"15 %"'),
        ("currency = 1\n" + WANT, "currency", "quotes"),
        (WANT + "[coffee.x]\ngreen_price = 5", 'coffee."x"', "no loss"),
        (WANT + "[coffee.x]\nloss = 15", 'coffee."x".loss', '"15 %"'),
        (WANT + '[coffee.x]\nleast = "60 %"\nmost = "40 %"', 'coffee."x".least', "swap"),
        (WANT + "[costs]\nrent = 1", "costs.rent", "known are roasting"),
    ],
)
def test_a_wrong_key_is_named_with_its_remedy(text, key, told):
    with pytest.raises(InputError) as caught:
        read(text)
    assert str(caught.value).startswith(f"b.toml: key {key}: ")
    assert told in str(caught.value)


def test_what_the_recipe_room_refuses_is_told_with_the_file():
    with pytest.raises(InputError, match=r"^b\.toml: brief 'brief': cost_cap"):
        read("cost_cap = 0\n" + WANT)


@pytest.mark.parametrize(
    ("data", "told"),
    [(b"[want.body\n", "line 1"), (b"\xff\xfe", "UTF-8"), (b"a = 1\na = 2", "TOML")],
)
def test_what_is_no_toml_is_told(data, told):
    with pytest.raises(InputError, match=told):
        read_brief(data, "b.toml")


def test_names_that_the_files_do_not_know_are_told():
    made = read(WANT + "[coffee.Kiruvy]\nmost = 0.5")
    with pytest.raises(InputError, match=r"want\.body.*known are acidity"):
        made.check_against(["acidity"], ["Kiruvi"])
    with pytest.raises(InputError, match=r'coffee."Kiruvy".*did you mean Kiruvi.*never_cupped'):
        made.check_against(["body"], ["Kiruvi"])
    read(WANT + "[coffee.new]\nnever_cupped = true").check_against(["body"], ["Kiruvi"])
