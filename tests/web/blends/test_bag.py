"""The card for the counter, the composition for the bag, and words that stay true."""

from __future__ import annotations

import pytest
from django.test import Client
from scipy.stats import norm

from coupage.web.blends.models import CafeCard, PromiseWord
from coupage.web.blends.pages.bag import composition
from coupage.web.coffees.models import Lot
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.blends.conftest import Four
from tests.web.conftest import As

pytestmark = pytest.mark.django_db
CARD = {"dose": "18,5", "drink": "39", "seconds": "27", "temperature_c": "93", "milk": "Round."}


def words(*rows: tuple[str, object, str, str], revision: int = 1) -> dict[str, object]:
    sent: dict[str, object] = {"revision": revision}
    for n, (text, attribute, low, high) in enumerate(rows):
        sent |= {
            f"word-{n}-text": text,
            f"word-{n}-attribute": getattr(attribute, "pk", ""),
            f"word-{n}-low": low,
            f"word-{n}-high": high,
        }
    return sent


def test_a_card_is_written_and_stands_on_one_sheet(four: Four, client: Client) -> None:
    path = f"/blends/recipes/{four.recipe.pk}/card/"
    assert "Nothing is written yet" in client.get(path).text
    answer = client.post(f"{path}change/", CARD | {"revision": "0", "note": "Say hello."})
    assert answer.headers["Location"] == path
    text = client.get(path).text
    for said in ("18.5 g", "39.0 g", "1 : 2.1", "27 s", "93 °C", "Round.", "Say hello.", "45 %"):
        assert said in text, said
    assert Change.objects.filter(verb="wrote the card").exists()


def test_the_next_recipe_begins_with_the_card_before_and_says_what_changed(
    four: Four, client: Client
) -> None:
    client.post(f"/blends/recipes/{four.recipe.pk}/card/change/", CARD | {"revision": "0"})
    first, second, *_ = four.approaches
    newer = things.recipe({first: 600_000, second: 400_000}, blend=four.recipe.blend)
    form = client.get(f"/blends/recipes/{newer.pk}/card/change/").context["form"]
    assert float(form.initial["dose"]) == 18.5
    text = client.get(f"/blends/recipes/{newer.pk}/card/").text
    assert "15 % more First (omni); 5 % more Second (omni); Third (omni) goes out." in text


def test_of_two_people_who_write_a_card_the_second_is_told(four: Four, client: Client) -> None:
    path = f"/blends/recipes/{four.recipe.pk}/card/change/"
    client.post(path, CARD | {"revision": "0"})
    late = client.post(path, CARD | {"revision": "0", "dose": "20"})
    assert "Somebody else saved this first" in late.text
    assert ("Dose", "20", "18.5") in late.context["differing"]
    assert CafeCard.objects.get().dose_mg == 18_500
    client.post(path, CARD | {"revision": "1", "dose": "20"})
    assert CafeCard.objects.get().dose_mg == 20_000


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"dose": "0"}, "dose"),
        ({"dose": "a lot"}, "dose"),
        ({"seconds": ""}, "seconds"),
        ({"temperature_c": "120"}, "temperature_c"),
        ({"drink": "-1"}, "drink"),
    ],
)
def test_a_card_that_cannot_be_is_explained(
    wrong: dict[str, str], field: str, four: Four, client: Client
) -> None:
    path = f"/blends/recipes/{four.recipe.pk}/card/change/"
    answer = client.post(path, CARD | {"revision": "0"} | wrong)
    assert field in answer.context["form"].errors
    assert not CafeCard.objects.exists()


def test_the_composition_names_origins_in_descending_order_and_adds_up(
    four: Four, client: Client
) -> None:
    Lot.objects.filter(name="Second").update(origin="Brazil")
    Lot.objects.filter(name="Third").update(origin="India")
    # HRS 486-120.6: percentages by weight in descending order; two lots of one origin count once.
    assert composition(four.recipe) == "Kenya 45 %, Brazil 35 %, India 20 %"
    Lot.objects.filter(name="Third").update(origin="Brazil")
    assert composition(four.recipe) == "Brazil 55 %, Kenya 45 %"
    thirds = dict(zip(four.approaches, (333_334, 333_333, 333_333), strict=False))
    Lot.objects.filter(name="Third").update(origin="India")
    said = composition(things.recipe(thirds))
    assert said == "Kenya 33.4 %, Brazil 33.3 %, India 33.3 %"
    text = client.get(f"/blends/recipes/{four.recipe.pk}/").text
    assert "Check your local law" in text
    assert "HRS 486-120.6" in text


def test_a_word_has_its_chance_for_every_recipe_that_is_not_retired(
    four: Four, client: Client
) -> None:
    body = things.attribute("body")
    path = f"/blends/{four.recipe.blend_id}/promise/"
    assert "The bag promises nothing yet." in client.get(path).text
    client.post(path, words(("full", body, "5", ""), ("", "", "", "")))
    thin = things.recipe({four.approaches[3]: 1_000_000}, blend=four.recipe.blend)
    page = client.get(path).context["page"]
    beliefs = beliefs_now()
    assert beliefs is not None
    (row,) = page.rows
    served = {str(s.approach): s.share_ppm / 1e6 for s in four.recipe.shares.all()}
    recipes = ({str(four.approaches[3]): 1.0}, served)
    for (said, _), shares in zip(row.chances, recipes, strict=True):
        belief = beliefs.profile(shares)["body"]
        # From mean and sd alone, as a normal would have it.
        chance = norm.sf(5, belief.mean, belief.sd)
        shown = said.replace("\xa0", " ").removesuffix(" %")
        low = {"over 99": 0.98, "under 1": 0.0}.get(shown)
        assert chance >= low if low else abs(chance - float(shown.split()[-1]) / 100) < 0.05
    assert page.recipes == (f"version {thin.version}, trial", "version 1, in service")
    assert "look again" in client.get(path).text
    assert "full" in client.get(f"/blends/recipes/{four.recipe.pk}/card/").text


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (("full", None, "5", ""), "Say which attribute backs it."),
        (("full", "body", "", ""), "Give at least, at most, or both."),
        (("full", "body", "6", "5"), "must be more than 6"),
        (("", "body", "6", ""), "Write the word, or empty the row."),
    ],
)
def test_a_promise_that_says_nothing_is_explained(
    row: tuple[str, str | None, str, str], says: str, four: Four, client: Client
) -> None:
    text, attribute, low, high = row
    sent = words((text, things.attribute(attribute) if attribute else None, low, high))
    answer = client.post(f"/blends/{four.recipe.blend_id}/promise/", sent)
    assert says in answer.text
    assert not PromiseWord.objects.exists()


def test_a_promise_changed_meanwhile_or_said_twice_is_refused(four: Four, client: Client) -> None:
    body, path = things.attribute("body"), f"/blends/{four.recipe.blend_id}/promise/"
    client.post(path, words(("full", body, "5", "")))
    late = client.post(path, words(("thin", body, "", "5"), revision=1))
    assert "changed by somebody else" in late.text
    assert 'value="thin"' in late.text
    twice = client.post(path, words(("full", body, "5", ""), ("Full", body, "4", ""), revision=2))
    assert "stands here twice" in twice.text
    assert [w.text for w in PromiseWord.objects.all()] == ["full"]


def test_a_viewer_reads_and_cannot_write(four: Four, viewer: Person, signed_in: As) -> None:
    client, blend = signed_in(viewer), four.recipe.blend_id
    assert client.get(f"/blends/recipes/{four.recipe.pk}/card/").status_code == 200
    assert client.get(f"/blends/recipes/{four.recipe.pk}/card/change/").status_code == 403
    assert client.get(f"/blends/{blend}/promise/").status_code == 200
    sent = words(("full", things.attribute("body"), "5", ""))
    assert client.post(f"/blends/{blend}/promise/", sent).status_code == 403
    assert not PromiseWord.objects.exists()
