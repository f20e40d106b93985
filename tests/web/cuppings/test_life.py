"""Closed, revealed, reopened; and until the reveal nobody who tastes is told what is in a cup."""

from __future__ import annotations

import html
import re

import pytest
from django.test import Client

from coupage.web.cuppings.models import Cupping, Rating
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As
from tests.web.cuppings.conftest import Table
from tests.web.test_rights import ALL

pytestmark = pytest.mark.django_db


@pytest.fixture
def host(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def test_a_table_is_closed_and_revealed_with_its_empty_cells_named(
    host: Client, table: Table
) -> None:
    page = host.get(f"/cuppings/{table.cupping.pk}/").text
    assert "16 of 16 cells are still empty" in page
    host.post(f"/cuppings/{table.cupping.pk}/reveal/")
    table.cupping.refresh_from_db()
    assert table.cupping.state == "revealed"
    assert table.cupping.revealed_at is not None
    assert Change.objects.filter(verb="closed and revealed").count() == 1


def test_a_second_reveal_is_told_and_changes_nothing(host: Client, table: Table) -> None:
    host.post(f"/cuppings/{table.cupping.pk}/reveal/")
    table.cupping.refresh_from_db()
    first = table.cupping.revealed_at
    answer = host.post(f"/cuppings/{table.cupping.pk}/reveal/", follow=True)
    assert "is revealed already" in answer.text
    table.cupping.refresh_from_db()
    assert table.cupping.revealed_at == first
    assert Change.objects.filter(verb="closed and revealed").count() == 1


def test_a_planned_table_cannot_be_revealed(host: Client) -> None:
    table = things.cupping(state="planned")
    host.post(f"/cuppings/{table.pk}/reveal/")
    table.refresh_from_db()
    assert table.state == "planned"


def test_a_table_is_reopened_with_a_reason_only(host: Client, table: Table) -> None:
    address = f"/cuppings/{table.cupping.pk}/reopen/"
    host.post(f"/cuppings/{table.cupping.pk}/reveal/")
    assert "Say why" in host.post(address, {"reason": " "}).text
    host.post(address, {"reason": "Noor's paper sheet turned up"})
    table.cupping.refresh_from_db()
    assert table.cupping.state == "open"
    assert table.cupping.revealed_at is None
    assert Change.objects.get(verb="reopened").note == "Noor's paper sheet turned up"
    assert host.post(table.save(table.own), {table.cell(): "4"}).status_code == 200


def test_a_viewer_and_a_taster_cannot_reveal(
    viewer: Person, taster: Person, signed_in: As, table: Table
) -> None:
    for person in (viewer, taster):
        assert signed_in(person).post(f"/cuppings/{table.cupping.pk}/reveal/").status_code == 403
    table.cupping.refresh_from_db()
    assert table.cupping.state == "open"


SECRETS = ("Secret Orchard", "Hidden Meadow")


def text_of(content: bytes) -> str:
    """Return a page without its drawings, whose figures are coordinates."""
    page = html.unescape(content.decode("utf-8", "replace"))
    return re.sub(r"<svg.*?</svg>", "", page, flags=re.S)


def crawl(client: Client, start: tuple[str, ...]) -> dict[str, str]:
    """Follow every link, form and htmx address from some pages; texts by address."""
    waiting, seen = list(start), {}
    while waiting:
        address = waiting.pop()
        if address in seen:
            continue
        answer = client.get(address)
        body = text_of(answer.content)
        # What a browser is told in headers counts as told.
        seen[address] = f"{answer.status_code} {dict(answer.headers)} {body}"
        if answer.status_code in {301, 302}:
            waiting.append(answer.headers["Location"])
        addresses = re.findall(r'(?:href|action|hx-get|hx-post)="([^"]*)"', body)
        # What a script asks for is written in the page's data.
        for found in (*addresses, *re.findall(r'"(/seat/[^"]+)"', body)):
            inside = found.split("#")[0]
            if inside.startswith("?"):
                inside = address.split("?")[0] + inside
            if inside.startswith("/") and not inside.startswith(("/static/", "//")):
                waiting.append(inside)
    return seen


def every_address(table: Table) -> list[str]:
    """Every address of the site with the keys of this table in its places."""
    keys = {
        str(table.cupping.pk),
        str(table.own.pk),
        str(table.other.pk),
        *(str(cup.pk) for cup in table.cups),
        *(str(cup.sample_id) for cup in table.cups),
        *(str(part.batch_id) for cup in table.cups for part in cup.sample.parts.all()),
    }
    return [path.replace("/1/", f"/{key}/") for _, path, _ in ALL for key in keys]


def test_no_page_a_taster_reaches_tells_what_is_in_a_cup_before_the_reveal(
    taster: Person, signed_in: As, table: Table
) -> None:
    things.rate_all(table.cupping)
    Rating.objects.filter(seat=table.other).update(value="8.75")
    Cupping.objects.filter(pk=table.cupping.pk).update(note="Secret Orchard against Hidden Meadow")
    batches = [p.batch for cup in table.cups for p in cup.sample.parts.all()]
    client = signed_in(taster)
    seen = crawl(client, ("/", "/cuppings/", "/cuppings/?q=Secret", "/cuppings/steadiness/"))
    assert f"/cuppings/seats/{table.own.pk}/taste/" in seen
    assert sum(address.startswith("/seat/") for address in seen) >= 4
    assert f"/cuppings/seats/{table.own.pk}/sheet/" in seen
    for address in every_address(table):
        if "sign-out" in address:
            continue
        for method in (client.get, client.post):
            answer = method(address)
            seen[f"{method.__name__} {address}"] = (
                f"{dict(answer.headers)} {text_of(answer.content)}"
            )
    for address, text in seen.items():
        for secret in (*SECRETS, *(str(b.approach_version.approach) for b in batches)):
            if "q=Secret" in address and secret == "Secret Orchard":
                continue
            assert secret not in text, address
        # Nor what another taster gave, nor which cups are repeats of one sample.
        assert "8.75" not in text, address
        assert "Guest Tongue" not in text, address
        if "/cuppings/" in address or "/seat/" in address:
            assert "sample" not in text.lower(), address


def test_a_repeat_looks_like_any_other_cup(taster: Person, signed_in: As) -> None:
    """Nor does the order of keys tell: a cup is known by its code, on the sheet and in its data."""
    own = things.taster(person=taster)
    one, two = things.sample(), things.sample()
    table = things.cupping(samples=[one, two], tasters=[own], cups=2)
    client = signed_in(taster)
    seat = table.seats.get()
    sheet = client.get(f"/cuppings/seats/{seat.pk}/sheet/").text
    rows = re.findall(r"<tr hx-target.*?</tr>", sheet, flags=re.S)
    shown = set()
    for row in rows:
        code = re.search(r'class="code">([^<]*)', row)
        assert code is not None
        shown.add(re.sub(r'"\d+">\d+</td>', "", row.replace(code[1], "CODE")))
    assert len(rows) == 8
    assert len(shown) == 2, "one form for rows of ratings, one for rows of words"
    keys = {str(cup.pk) for cup in table.cups.all()}
    page = client.get(f"/cuppings/seats/{seat.pk}/taste/", follow=True)
    data = page.context["data"]
    assert sorted(data["cups"]) == sorted(table.cups.values_list("code", flat=True))
    assert not keys & set(re.findall(r"(?<=cups/)\d+|(?<=c-)\d+", sheet))


def test_a_taster_sees_no_table_without_a_seat_nor_one_that_is_being_set_up(
    taster: Person, signed_in: As, table: Table
) -> None:
    client = signed_in(taster)
    foreign = things.cupping(name="Foreign table")
    planned = things.cupping(name="Planned table", state="planned", tasters=[table.own.taster])
    listed = client.get("/cuppings/").text
    assert "Blind table" in listed
    for hidden in (foreign, planned):
        assert hidden.name not in listed
        assert client.get(f"/cuppings/{hidden.pk}/").status_code == 404


def test_after_the_reveal_a_taster_reads_what_the_own_cups_were(
    taster: Person, signed_in: As, table: Table, host: Client
) -> None:
    host.post(table.save(table.own), {table.cell(): "7"})
    host.post(f"/cuppings/{table.cupping.pk}/reveal/")
    text = signed_in(taster).get(f"/cuppings/{table.cupping.pk}/").text
    for secret in SECRETS:
        assert secret in text
    assert "7.0" in text
    assert "Guest Tongue" not in text


def test_a_viewer_who_tastes_is_not_told_what_stands_on_the_table(
    viewer: Person, signed_in: As
) -> None:
    sample = things.sample(label="Secret Orchard, washed")
    table = things.cupping(samples=[sample], tasters=[things.taster(person=viewer)])
    client = signed_in(viewer)
    assert "Secret Orchard" not in client.get(f"/cuppings/{table.pk}/").text
    assert client.get(f"/cuppings/{table.pk}/key/?open").status_code == 403


def test_the_key_is_sealed_until_the_host_opens_it(host: Client, table: Table) -> None:
    address = f"/cuppings/{table.cupping.pk}/key/"
    assert "Secret Orchard" not in host.get(address).text
    opened = host.get(f"{address}?open").text
    for secret in SECRETS:
        assert secret in opened


def test_files_tell_no_more_than_the_table_does_before_the_reveal(
    host: Client, table: Table
) -> None:
    things.rate_all(table.cupping)
    for name in ("ratings", "ratings-wide", "words"):
        text = host.get(f"/cuppings/{name}/export/").content.decode()
        assert table.cups[0].code in text
        assert "Secret" not in text
    host.post(f"/cuppings/{table.cupping.pk}/reveal/")
    assert "Secret Orchard" in host.get("/cuppings/ratings/export/").content.decode()
