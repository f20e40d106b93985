"""Recorded, revealed, judged: the page says what the computing room says of the same columns."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.panel import fit
from coupage.web.cuppings.beliefs import beliefs_now, tolerances
from coupage.web.cuppings.columns import columns_of, known_components, sample_name
from coupage.web.cuppings.judging import judge_table
from coupage.web.cuppings.models import Cupping, Rating, Word
from coupage.web.cuppings.pages.said import chance_text
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db

ATTRIBUTES = ("acidity", "body")
# What each sample is, per attribute: two batches of one approach alike, a third far off in body.
TRUTH = {"one": (6.0, 4.0), "sister": (6.0, 4.0), "apart": (6.0, 8.5)}


@pytest.fixture
def table(roastery: object) -> Cupping:
    return clear_table()


def clear_table() -> Cupping:
    """Set up a table on which three tasters rate four cups of each sample near the truth."""
    version, other = things.approach_version(), things.approach_version()
    samples = [
        things.sample({things.batch(approach_version=of): 1_000_000}, label=label)
        for label, of in [("one", version), ("sister", version), ("apart", other)]
    ]
    made = things.cupping(
        samples=samples,
        tasters=[things.taster(name=name) for name in ("Ash", "Bea", "Cyr")],
        attributes=[things.attribute(name) for name in ATTRIBUTES],
        cups=4,
    )
    rng = np.random.default_rng(5)
    for cup in made.cups.select_related("sample"):
        for seat in made.seats.all():
            for name, truth in zip(ATTRIBUTES, TRUTH[cup.sample.label], strict=True):
                value = round(2 * float(np.clip(truth + rng.normal(0, 0.3), 0, 10))) / 2
                Rating.objects.create(
                    cup=cup,
                    seat=seat,
                    round=made.rounds.all()[0],
                    attribute=things.attribute(name),
                    value=value,
                    at=things.NOW,
                )
    for seat, cup, text in zip(
        [*made.seats.all(), made.seats.all()[0]],
        made.cups.order_by("id")[:4],
        ["plum", "cherry", "zork", "cocoa"],
        strict=True,
    ):
        Word.objects.create(seat=seat, cup=cup, text=text)
    return made


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def reveal(client: Client, table: Cupping) -> None:
    client.post(f"/cuppings/{table.pk}/reveal/")


def pairs(client: Client, table: Cupping) -> Iterator[tuple[str, str, str]]:
    result = client.get(f"/cuppings/{table.pk}/").context["result"]
    for row in (*result.sisters, *result.others):
        yield (*sorted((row.a, row.b)), row.verdict)  # type: ignore[misc]


def test_an_open_table_is_not_believed_and_a_revealed_one_is(
    client: Client, table: Cupping
) -> None:
    assert beliefs_now() is None
    reveal(client, table)
    beliefs = beliefs_now()
    assert beliefs is not None
    assert sample_name(table.pk, "one") in beliefs.samples
    client.post(f"/cuppings/{table.pk}/void/")
    assert beliefs_now() is None


def test_the_page_agrees_with_the_computing_room_on_the_same_columns(
    client: Client, table: Cupping
) -> None:
    reveal(client, table)
    columns = columns_of(Cupping.objects.filter(pk=table.pk))
    beliefs = fit(
        columns.ratings, columns.samples, extra_components=tuple(sorted(known_components()))
    )
    names = {label: sample_name(table.pk, label) for label in TRUTH}
    result = client.get(f"/cuppings/{table.pk}/").context["result"]
    for row in (*result.sisters, *result.others):
        alone = beliefs.joint(names[row.a], names[row.b], tolerances())
        assert row.verdict == alone.verdict
        chance = alone.chance_different if alone.verdict == "different" else alone.chance_same
        assert row.chance == chance_text(chance)
    compared = beliefs.compare(names[result.names[0]], names[result.names[1]], tolerances())
    for difference in result.differences:
        alone = compared[difference.attribute]
        assert difference.verdict == alone.verdict
        assert float(difference.difference.replace("−", "-")) == pytest.approx(
            alone.difference, abs=0.051
        )


def test_batches_judged_together_are_judged_as_one_by_one(client: Client, table: Cupping) -> None:
    reveal(client, table)
    beliefs = beliefs_now()
    assert beliefs is not None
    names = [sample_name(table.pk, label) for label in TRUTH]
    judged = judge_table(beliefs, names, tolerances(), ATTRIBUTES)
    for (a, b), pair in judged.pairs.items():
        alone = beliefs.compare(a, b, tolerances())
        for attribute, comparison in alone.items():
            ours = pair.by_attribute[attribute]
            for field in ("difference", "sd", "chance_same", "chance_higher", "cup_sd"):
                assert getattr(ours, field) == pytest.approx(getattr(comparison, field), abs=1e-9)
        assert pair.joint is not None
        assert pair.joint.chance_same == pytest.approx(
            beliefs.joint(a, b, tolerances()).chance_same, abs=1e-9
        )


def test_the_truth_of_a_clear_table_is_found(client: Client, table: Cupping) -> None:
    reveal(client, table)
    assert sorted(pairs(client, table)) == [
        ("apart", "one", "different"),
        ("apart", "sister", "different"),
        ("one", "sister", "same"),
    ]


def test_batches_of_one_approach_come_first_and_any_pair_can_be_chosen(
    client: Client, table: Cupping
) -> None:
    reveal(client, table)
    address = f"/cuppings/{table.pk}/"
    first = client.get(address).context["result"]
    assert set(first.names) == {"one", "sister"}
    assert "taste the same within tolerance" in first.sentence
    keys = {label: pk for pk, label in first.choices}
    turned = client.get(f"{address}?a={keys['one']}&b={keys['apart']}").context["result"]
    assert turned.names == ("one", "apart")
    assert "less body than apart" in turned.sentence
    other = client.get(f"{address}?a={keys['apart']}&b={keys['one']}").context["result"]
    assert "more body than one" in other.sentence
    for query in ("?a=x&b=y", f"?a={keys['one']}&b={keys['one']}", "?a=999999999999"):
        assert client.get(address + query).context["result"].names == first.names


def test_a_liking_is_shown_and_decides_nothing(client: Client, table: Cupping) -> None:
    things.attribute("body").__class__.objects.filter(name="body").update(kind="liking")
    reveal(client, table)
    assert all(verdict != "different" for *_, verdict in pairs(client, table))
    result = client.get(f"/cuppings/{table.pk}/").context["result"]
    assert {row.attribute: row.liking for row in result.differences}["body"]


def test_words_are_counted_by_family(client: Client, table: Cupping) -> None:
    reveal(client, table)
    result = client.get(f"/cuppings/{table.pk}/").context["result"]
    assert [(f.name, f.count) for f in result.families] == [
        ("fruit", 2),
        ("cocoa", 1),
        ("other words", 1),
    ]


def test_what_was_missing_is_said_by_taster_and_cup(client: Client, table: Cupping) -> None:
    seat = table.seats.get(taster__name="Bea")
    cup = table.cups.order_by("code")[0]
    Rating.objects.filter(seat=seat, cup=cup).delete()
    reveal(client, table)
    assert client.get(f"/cuppings/{table.pk}/").context["result"].missing == (
        f"Bea: 2 of 24 ratings (cups {cup.code})",
    )


def test_a_table_without_ratings_says_so(client: Client, roastery: object) -> None:
    empty = things.cupping()
    reveal(client, empty)
    assert "Nothing was rated" in client.get(f"/cuppings/{empty.pk}/").text


def test_the_spread_names_its_largest_source(client: Client, table: Cupping) -> None:
    assert "No table is revealed yet" in client.get("/cuppings/spread/").text
    reveal(client, table)
    page = client.get("/cuppings/spread/").context["page"]
    beliefs = beliefs_now()
    assert beliefs is not None
    mean = {
        name: np.mean([beliefs.spread()[a].shares()[name] for a in ATTRIBUTES])
        for name in beliefs.spread()["body"].shares()
    }
    first = max(mean, key=lambda name: mean[name])
    assert chance_text(float(mean[first])) in page.sentence
    assert {"coffee": "coffees", "cup": "single ratings"}.get(first, first) in page.sentence


def test_each_taster_sees_only_the_own_row_and_a_viewer_none(
    client: Client, table: Cupping, taster: Person, viewer: Person, signed_in: As
) -> None:
    own = table.seats.get(taster__name="Bea").taster
    own.person = taster
    own.save()
    reveal(client, table)
    everybody = client.get("/cuppings/steadiness/").context["page"]
    assert [row.name for row in everybody.rows] == ["Ash", "Bea", "Cyr"]
    other = table.seats.get(taster__name="Cyr").taster.pk
    assert client.get(f"/cuppings/steadiness/?taster={other}").context["page"].chosen == "Cyr"
    answer = signed_in(taster).get(f"/cuppings/steadiness/?taster={other}")
    assert answer.context["page"].chosen == "Bea"
    assert "Cyr" not in answer.text
    assert "You repeat a rating" in answer.text
    assert signed_in(viewer).get("/cuppings/steadiness/").status_code == 403


def test_a_result_costs_no_more_queries_when_the_table_grows(
    client: Client, roastery: object
) -> None:
    def cost(samples: int) -> int:
        table = things.cupping(samples=[things.sample() for _ in range(samples)])
        things.rate_all(table)
        reveal(client, table)
        client.get(f"/cuppings/{table.pk}/")
        with CaptureQueriesContext(connection) as made:
            assert client.get(f"/cuppings/{table.pk}/").status_code == 200
        return len(made)

    assert cost(2) == cost(5)
