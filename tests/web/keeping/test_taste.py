"""Batches side by side, cups of one sample, verdicts by taste, roast numbers and taste."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import numpy as np
import pytest

from coupage.difference import equivalence
from coupage.web.batches.models import Batch, BatchVerdict
from coupage.web.coffees.models import Approach, ApproachVersion
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.models import Rating
from coupage.web.keeping.learning import learn
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As
from tests.web.keeping import tables

pytestmark = pytest.mark.django_db


@pytest.fixture
def version() -> ApproachVersion:
    return things.approach_version(seconds=600)


def sisters(version: ApproachVersion, count: int, **more: object) -> list[Batch]:
    return [
        things.batch(
            approach_version=version,
            seconds=600,
            roasted_at=things.NOW - dt.timedelta(days=9, minutes=-20 * i),
            **more,
        )
        for i in range(count)
    ]


def ask(batches: list[Batch]) -> str:
    keys = "&".join(f"batch={b.pk}" for b in batches)
    return f"/keeping/uniformity/?approach={batches[0].approach_version.approach_id}&{keys}"


def test_two_batches_are_compared_by_the_model_and_by_the_classical_test(
    roaster: Person, signed_in: As, version: ApproachVersion
) -> None:
    a, b = sisters(version, 2)
    tables.reveal({a: {"body": 2.5}, b: {}}, cups=3)
    answer = signed_in(roaster).get(ask([a, b]))
    page = answer.context["page"]
    assert page.verdict == "different"
    assert page.sentence == f"Batches {a.number} and {b.number} differ: {a.number} has more body."
    rows = {row.attribute: row for row in page.attributes}
    assert rows["body"].verdict == "different"
    assert rows["fruit"].verdict == "same"
    # The classical answer, worked out by hand: each taster's mean of a and of b at the table.
    means = {
        batch: [
            np.mean(
                [
                    float(r.value)
                    for r in Rating.objects.filter(
                        seat__taster_id=t, attribute__name="fruit", cup__sample__parts__batch=batch
                    )
                ]
            )
            for t in sorted(set(Rating.objects.values_list("seat__taster_id", flat=True)))
        ]
        for batch in (a, b)
    }
    test = equivalence(means[a], means[b], low=-1.0, high=1.0, paired=True)
    assert rows["fruit"].classical == f"same (p {test.p:.3f})"
    assert rows["body"].classical.startswith("different")
    assert page.classical_agrees == "Two one-sided tests find fruit the same, the others open."


def test_of_several_batches_the_odd_one_is_named_and_its_sisters_are_not(
    roaster: Person, signed_in: As, version: ApproachVersion
) -> None:
    batches = sisters(version, 4)
    effects: dict[Batch, dict[str, float]] = {b: {} for b in batches}
    effects[batches[2]] = {"body": -2.5}
    tables.reveal(effects, cups=3)
    page = signed_in(roaster).get(ask(batches)).context["page"]
    odd = batches[2].number
    assert page.sentence == f"Batch {odd} stands out: {odd} has less body than the others."
    assert [row.batch.number for row in page.others if row.stands_out] == [odd]
    assert len(page.pairs) == 6
    assert {r.verdict for r in page.pairs if odd not in (r.a, r.b)} == {"same"}


def test_few_cups_say_how_many_are_missing(
    roaster: Person, signed_in: As, version: ApproachVersion
) -> None:
    a, b = sisters(version, 2)
    tables.reveal({a: {"body": 0.5}, b: {}}, cups=1, noise=1.2, tasters=[things.taster()])
    page = signed_in(roaster).get(ask([a, b])).context["page"]
    assert page.verdict == "not enough cups"
    assert "further cups of each" in page.note
    assert page.attributes[0].classical == "they stood on no table together with two tasters"


def test_a_cup_that_stands_apart_in_its_sample_is_named(
    roaster: Person, signed_in: As, version: ApproachVersion
) -> None:
    a, b = sisters(version, 2)
    table = tables.reveal({a: {}, b: {}}, cups=4, odd_cup=3.0, noise=0.4)
    page = signed_in(roaster).get(ask([a, b])).context["page"]
    found = {row.sample: row for row in page.cups}
    code = table.cups.get(sample__parts__batch=a, number=1).code
    assert found[a.number].said.startswith(f"cup {code} stands apart: +")
    assert found[a.number].said.endswith("body")
    assert found[b.number].alike


@pytest.mark.parametrize("keys", ["", "?approach=99999", "?approach=x&batch=y"])
def test_a_choice_of_nothing_asks_for_one(keys: str, roaster: Person, signed_in: As) -> None:
    answer = signed_in(roaster).get(f"/keeping/uniformity/{keys}")
    assert answer.status_code == (404 if keys else 200)
    if not keys:
        assert "Nothing was tasted yet" in answer.text


def test_a_batch_that_tastes_off_is_proposed_to_be_held(
    roaster: Person, signed_in: As, version: ApproachVersion
) -> None:
    batches = sisters(version, 5)
    effects: dict[Batch, dict[str, float]] = {b: {} for b in batches}
    effects[batches[0]] = {"body": -3.0}
    tables.reveal(effects, cups=3)
    client = signed_in(roaster)
    page = client.get(f"/batches/{batches[0].pk}/").context["page"]
    assert page.proposal.verdict == "hold"
    assert {r.about: r.verdict for r in page.proposal.reasons} == {
        "roast time": "release",
        "taste": "hold",
    }
    assert "its body is not what this coffee has" in page.proposal.reasons[-1].says
    told = client.post(f"/batches/{batches[0].pk}/verdict/", {"verdict": "release"})
    assert "Hold was proposed" in told.text
    assert not BatchVerdict.objects.exists()
    good = client.get(f"/batches/{batches[1].pk}/").context["page"].proposal
    assert good.verdict == "release"
    untasted = sisters(version, 1)[0]
    proposal = client.get(f"/batches/{untasted.pk}/").context["page"].proposal
    assert proposal.verdict == "release"
    assert "it was not tasted on a revealed table yet" in proposal.reasons[-1].says


def test_a_taste_that_goes_with_a_number_is_found_and_marked_as_association(
    roaster: Person, signed_in: As, version: ApproachVersion
) -> None:
    """Twelve sisters whose body grows with their time; colour and the rest are chance."""
    rng = np.random.default_rng(2)
    batches = []
    effects: dict[Batch, dict[str, float]] = {}
    for i in range(12):
        longer = float(rng.normal(0, 12))
        batch = things.batch(
            approach_version=version,
            seconds=round(600 + longer),
            first_crack_s=round(0.84 * (600 + longer) + rng.normal(0, 5)),
            end_temperature_c=Decimal(f"{212 + rng.normal(0, 0.5):.1f}"),
            colour=Decimal(f"{90 + rng.normal(0, 1):.1f}"),
            colour_scale="house",
            roasted_g=10_200 + int(rng.normal(0, 20)),
            roasted_at=things.NOW - dt.timedelta(days=9, minutes=i),
        )
        batches.append(batch)
        effects[batch] = {"body": longer / 12}
    tables.reveal(effects, cups=2, noise=0.4)
    beliefs = beliefs_now()
    assert beliefs is not None
    found = {a.name: a for a in learn(beliefs, "body").found}
    # One point for 12 s, told for one standard deviation among these batches.
    step = float(np.std([b.seconds or 0 for b in batches], ddof=1))
    assert found["roast time"].step == pytest.approx(step)
    assert found["roast time"].mean == pytest.approx(step / 12, abs=0.15)
    assert found["roast time"].low90 > 0
    assert all(a.low90 < 0 < a.high90 for a in learn(beliefs, "fruit").found)
    answer = signed_in(roaster).get("/keeping/learning/?attribute=body")
    assert "Association, not cause" in answer.text
    assert "With a higher roast time goes more body" in answer.text


def test_few_batches_teach_nothing(
    roaster: Person, signed_in: As, version: ApproachVersion
) -> None:
    a, b = sisters(version, 2)
    tables.reveal({a: {}, b: {}})
    page = signed_in(roaster).get("/keeping/learning/").context["page"]
    assert page.sentence == "2 tasted batches have sisters and all their numbers; it takes 8."


def test_a_roast_to_try_becomes_an_approach_beside_the_old_one(
    roaster: Person, signed_in: As
) -> None:
    version = things.approach_version(
        name="medium", seconds=600, end_temperature_c=Decimal("212.0"), loss_pct=Decimal("15.0")
    )
    client, address = signed_in(roaster), f"/keeping/try/{version.approach_id}/"
    sent = {"name": "medium, longer", "seconds": "20", "end_temperature_c": "0"}
    assert "Nothing moves" in client.post(address, sent | {"seconds": "0"}).text
    assert "at most 120" in client.post(address, sent | {"seconds": "300"}).text
    client.post(address, sent)
    made = Approach.objects.get(name="medium, longer")
    aim = made.versions.get()
    assert (made.lot, aim.seconds, aim.end_temperature_c) == (
        version.approach.lot,
        620,
        Decimal("212.0"),
    )
    assert aim.loss_pct is None, "what comes out is what the trial shows"
    assert "has an approach" in client.post(address, sent).text
