"""The analysis of plain files: the truth behind the examples is found, and the rooms agree."""

from __future__ import annotations

import json
from collections import Counter

import numpy as np
import pandas as pd
import pytest
from examples import generate
from tests.cli.doors import BRIEF, RATINGS, SAMPLES, WIDE, coupage

from coupage.cli.analysis import analyse
from coupage.cli.briefs import read_brief
from coupage.cli.data import as_data
from coupage.cli.main import main
from coupage.cli.report import report
from coupage.cli.tables import read_tables
from coupage.cost import roasted_cost
from coupage.errors import InputError
from coupage.panel import fit
from coupage.recipe import chance_on_brief


@pytest.fixture(scope="module")
def analysis():
    brief = read_brief(BRIEF.read_bytes(), "brief.toml")
    return analyse(read_tables(str(RATINGS), str(SAMPLES)), brief, tolerance={"": 1.0})


@pytest.fixture(scope="module")
def data(analysis):
    return json.loads(json.dumps(as_data(analysis)))


@pytest.fixture(scope="module")
def beliefs():
    """The panel's own answer, from files that another library read."""
    ratings = pd.read_csv(RATINGS).rename(columns={"pass": "pass_name"})
    samples = pd.read_csv(SAMPLES)
    samples["proportion"] = samples["proportion"].str.rstrip("%").astype(float) / 100
    return fit(ratings.astype({"sample": str}), samples.astype({"sample": str}))


def test_the_example_files_are_what_their_generator_draws():
    frame = pd.read_csv(RATINGS, dtype={"sample": str})
    drawn = pd.DataFrame(generate.ratings()).melt(
        ["cupping", "taster", "sample", "cup", "pass"], var_name="attribute", value_name="rating"
    )
    key = ["cupping", "taster", "sample", "cup", "pass", "attribute"]
    both = frame.merge(drawn, on=key)
    assert len(both) == len(frame) == len(drawn)
    assert (both["rating_x"] == both["rating_y"]).all()


def test_the_truth_lies_inside_the_intervals(data):
    """90 % intervals of 24 means: with that coverage fewer than 18 inside happen once in 600."""
    inside = 0
    for profile in data["profiles"]:
        truth = generate.truth(profile["recipe"])
        for attribute, mean in zip(generate.ATTRIBUTES, truth, strict=True):
            low, high = profile["attributes"][attribute]["interval90"]
            inside += low <= mean <= high
            assert abs(profile["attributes"][attribute]["mean"] - mean) < 1.0
    assert len(data["profiles"]) == 6
    assert 18 <= inside <= 24


def test_batches_of_one_recipe_and_unlike_coffees_get_the_true_verdict(data):
    pairs = {(pair["a"], pair["b"]): pair for pair in data["pairs"]}
    assert data["pairs"][0]["same_recipe"]
    sisters = pairs["882", "159"]
    assert sisters["same_recipe"]
    assert sisters["verdict"] == "same"
    unlike = pairs["882", "246"]
    assert unlike["verdict"] == "different"
    assert not unlike["same_recipe"]
    acidity = unlike["attributes"]["acidity"]
    assert acidity["verdict"] == "different"
    assert acidity["interval90"][0] <= 7.2 - 3.6 <= acidity["interval90"][1]


def test_the_noisy_taster_is_named(data):
    noise = {taster["taster"]: taster["noise"] for taster in data["tasters"]}
    truth = {name: noise for name, (_, noise) in generate.TASTERS.items()}
    assert max(noise, key=noise.get) == max(truth, key=truth.get) == "Dag"
    assert any("Dag least" in sentence for sentence in data["answer"])
    by_name = {taster["taster"]: taster for taster in data["tasters"]}
    for name, (bias, _) in generate.TASTERS.items():
        found = by_name[name]["attributes"]["body"]["bias"]
        # Bias is told against the table, whose own level no cup can show.
        level = np.mean([b for b, _ in generate.TASTERS.values()])
        assert found["mean"] == pytest.approx(bias - level, abs=0.45)


def test_every_number_is_the_rooms_own(data, beliefs):
    assert data["fingerprint"] == beliefs.fingerprint
    for profile in data["profiles"]:
        own = beliefs.profile(profile["recipe"])
        for name, belief in profile["attributes"].items():
            assert belief["mean"] == pytest.approx(own[name].mean, abs=1e-6)
            assert belief["interval90"] == pytest.approx(
                [own[name].low90, own[name].high90], abs=1e-6
            )
    for pair in data["pairs"][:4]:
        own = beliefs.compare(pair["a"], pair["b"], 1.0)
        for name, told in pair["attributes"].items():
            assert told["difference"] == pytest.approx(own[name].difference, abs=1e-6)
            assert told["verdict"] == own[name].verdict
    shares = beliefs.spread()["acidity"].shares()
    assert {
        k: v["share"] for k, v in data["spread"]["acidity"].items() if v["share"] is not None
    } == (pytest.approx(shares, abs=1e-6))


def test_the_best_recipes_are_the_rooms_own_and_obey_the_brief(data, beliefs):
    file = read_brief(BRIEF.read_bytes(), "brief.toml")
    best = data["brief"]["best"]
    assert len(best) == 5
    assert [one["chance"] for one in best] == sorted((one["chance"] for one in best), reverse=True)
    for one in best:
        recipe = one["recipe"]
        assert sum(recipe.values()) == pytest.approx(1)
        assert recipe.get("Kiruvi washed", 0) <= 0.4
        assert min(recipe.values()) >= 0.1 - 1e-9
        assert all(round(share / 0.05, 6) % 1 in (0, 1) for share in recipe.values())
        assert one["cost_per_kg"] <= 14.5
        x = [[recipe.get(name, 0.0) for name in beliefs.components]]
        assert one["chance"] == pytest.approx(chance_on_brief(file.brief, beliefs, x)[0], abs=1e-6)
    tasted = [one["chance"] for one in data["brief"]["tasted"]]
    assert tasted == sorted(tasted, reverse=True)
    assert len(tasted) == len(data["profiles"])
    # Nothing on the step does better: every recipe tried, without the search.
    grid = [(a / 20, b / 20, 1 - (a + b) / 20) for a in range(21) for b in range(21 - a)]
    x = np.array([g for g in grid if all(s < 1e-9 or s > 0.0999 for s in g)])
    kiruvi = beliefs.components.index("Kiruvi washed")
    orvalhal = beliefs.components.index("Orvalhal natural")
    sidangin = beliefs.components.index("Sidangin wet-hulled")
    x = x[x[:, kiruvi] <= 0.4 + 1e-9]
    costs = np.zeros(3)
    costs[orvalhal], costs[kiruvi] = (6.4 + 0.45) / 0.845 + 3.55, (9.8 + 0.6) / 0.86 + 3.55
    costs[sidangin] = (7.1 + 0.55) / 0.84 + 3.55
    x = x[x @ costs <= 14.5 + 1e-9]
    assert best[0]["chance"] == pytest.approx(
        chance_on_brief(file.brief, beliefs, x).max(), abs=1e-6
    )


def test_the_cost_is_the_sum_of_its_lines_and_of_the_green_divided_by_the_yield(data):
    best = data["brief"]["best"][0]
    lines = data["brief"]["cost_lines"]
    assert sum(lines.values()) == pytest.approx(best["cost_per_kg"], abs=1e-5)
    price = {"Orvalhal natural": 6.4, "Kiruvi washed": 9.8, "Sidangin wet-hulled": 7.1}
    freight = {"Orvalhal natural": 0.45, "Kiruvi washed": 0.6, "Sidangin wet-hulled": 0.55}
    loss = {"Orvalhal natural": 0.155, "Kiruvi washed": 0.14, "Sidangin wet-hulled": 0.16}
    by_hand = sum(s * (price[n] + freight[n]) / (1 - loss[n]) for n, s in best["recipe"].items())
    assert best["cost_per_kg"] == pytest.approx(by_hand + 0.85 + 0.6 + 1.2 + 0.9, abs=1e-5)
    assert float(roasted_cost(best["recipe"], price, loss, freight=freight).total) == pytest.approx(
        by_hand
    )


def test_a_wide_sheet_with_semicolons_and_decimal_commas_says_the_same(data):
    wide = analyse(read_tables(str(WIDE), str(SAMPLES)), None, tolerance={"": 1.0})
    told = as_data(wide)
    # Rows come in another order, so draws may differ in their last digits, not more.
    for one, two in zip(told["profiles"], data["profiles"], strict=True):
        assert one["recipe"] == two["recipe"]
        for name, belief in one["attributes"].items():
            assert belief["mean"] == pytest.approx(two["attributes"][name]["mean"], abs=0.02)
    assert any("Notes" in note for note in told["notes"])


def test_tolerance_decides_what_is_the_same(data):
    tables = read_tables(str(RATINGS), str(SAMPLES))
    wide = as_data(analyse(tables, None, tolerance={"": 1.0, "acidity": 9.0}))
    for pair in wide["pairs"]:
        assert pair["attributes"]["acidity"]["verdict"] == "same"
    assert Counter(p["attributes"]["body"]["verdict"] for p in wide["pairs"]) == Counter(
        p["attributes"]["body"]["verdict"] for p in data["pairs"]
    )


def test_a_reference_is_what_the_others_are_compared_with():
    tables = read_tables(str(RATINGS), str(SAMPLES))
    pairs = analyse(tables, None, tolerance={}, reference="417").pairs
    assert {(p.a, p.b) for p in pairs if not p.same_recipe} == {
        (name, "417") for name in tables.made_of if name != "417"
    }
    assert [(p.a, p.b) for p in pairs if p.same_recipe] == [("882", "159")]


def test_a_coffee_that_nobody_cupped_may_be_in_the_recipe():
    text = (
        "[want.body]\nat_least = 4\nmust = true\n"
        '[coffee.Newcomer]\nnever_cupped = true\nleast = "20 %"\n'
    )
    brief = read_brief(text.encode(), "b.toml")
    made = analyse(read_tables(str(RATINGS), str(SAMPLES)), brief, tolerance={})
    assert made.brief is not None
    assert all(choice.recipe["Newcomer"] >= 0.2 for choice in made.brief.choices)


def test_no_recipe_takes_more_of_a_coffee_than_there_is():
    text = (
        "batch_kg = 40\n[want.body]\nat_least = 5\nmust = true\n"
        '[coffee."Orvalhal natural"]\nstock_kg = 8\n'
    )
    tables = read_tables(str(RATINGS), str(SAMPLES))
    made = analyse(tables, read_brief(text.encode(), "b.toml"), tolerance={})
    assert made.brief is not None
    assert made.brief.choices
    assert all(c.recipe.get("Orvalhal natural", 0) <= 0.2 + 1e-9 for c in made.brief.choices)
    short = text.replace("batch_kg = 40\n", "")
    with pytest.raises(InputError, match="batch_kg"):
        analyse(tables, read_brief(short.encode(), "b.toml"), tolerance={})


def test_profiles_are_for_the_age_that_was_asked():
    tables = read_tables(str(RATINGS), str(SAMPLES))
    old = analyse(tables, None, tolerance={}, age_days=40.0)
    own = fit(tables.ratings, tables.samples, reference_age=40.0).profile({"Kiruvi washed": 1.0})
    (kiruvi,) = [one for one in old.tasted if one.recipe == {"Kiruvi washed": 1.0}]
    assert kiruvi.profile == own
    assert "40 days after roasting" in report(old, width=200, plain=True)


def test_limits_that_clash_are_told_and_the_rest_is_still_answered(capsys, tmp_path):
    brief = tmp_path / "b.toml"
    brief.write_text(
        "[want.body]\nat_least = 5\n"
        + "".join(f'[coffee."{name}"]\nmost = "30 %"\n' for name in generate.COFFEES)
    )
    assert main(["analyse", str(RATINGS), str(SAMPLES), "--brief", str(brief)]) == 0
    shown = capsys.readouterr().out
    assert "No recipe can serve 'brief'" in shown
    assert "Who tastes steadily" in shown


def test_the_text_answers_first_and_fits_the_page(analysis):
    text = report(analysis, width=88, plain=False)
    assert max(map(len, text.splitlines())) <= 88
    order = [
        "In short", "Best recipes for 'Carries in milk'", "Profiles", "Same or different",
        "Who tastes steadily", "Where the spread of a rating comes from", "Notes",
    ]  # fmt: skip
    places = [text.index(title) for title in order]
    assert places == sorted(places)
    best = analysis.brief.choices[0]
    first = text[text.index("In short") :].splitlines()[1]
    assert first.startswith("  The best recipe for 'Carries in milk' is ")
    assert f"{best.recipe['Orvalhal natural']:.0%}".rstrip("%") in first
    assert "882 and 159 are one recipe; they are the same within tolerance" in text


def test_plain_signs_suffice_for_any_terminal(analysis):
    text = report(analysis, width=80, plain=True)
    text.encode("ascii")
    assert max(map(len, text.splitlines())) <= 80


def test_the_executable_prints_text_and_data(data):
    done = coupage("analyse", RATINGS, SAMPLES, "--brief", BRIEF, "--json", "--seed", "0")
    assert done.returncode == 0
    assert done.stderr == ""
    assert json.loads(done.stdout) == data
    shown = coupage(
        "analyse", RATINGS, SAMPLES, "--brief", BRIEF, PYTHONIOENCODING="ascii", PYTHONUTF8="0"
    )
    assert shown.returncode == 0
    for sentence in data["answer"]:
        assert " ".join(sentence.split()) in " ".join(shown.stdout.split())
