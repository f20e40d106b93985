"""Whatever stands in the address, a list answers, and its links lead where they say."""

from __future__ import annotations

import re
from urllib.parse import parse_qsl, urlsplit

import pytest
from django.db import connection
from django.db.models import Q
from django.http import HttpRequest, QueryDict
from django.template import engines
from django.test import RequestFactory
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.web.common.listing import LISTING_QUERIES, Choice, Filter, Listing
from coupage.web.people.models import Person

NAMES = ("Ada", "Bo", "Cyn", "Dov", "Edda", "Fynn", "Gro", "Hal", "Ida", "Jon", "Kai")
ROLE = Filter(
    "role",
    "Role",
    (Choice("owner", "Owners", Q(role="owner")), Choice("taster", "Tasters", Q(role="taster"))),
)
ACTIVE = Filter("active", "In", (Choice("yes", "Active", Q(is_active=True)),), default="yes")


@pytest.fixture(scope="module")
def people(django_db_setup: None, django_db_blocker):  # type: ignore[no-untyped-def]
    with django_db_blocker.unblock():
        made = [
            Person.objects.create(
                sign_in=f"listed-{name.lower()}",
                name=f"{name} {'Ek' if i % 2 else 'Dahl'}",
                role="taster" if i % 3 else "owner",
                is_active=i != 4,
            )
            for i, name in enumerate(NAMES)
        ]
        yield made
        Person.objects.filter(sign_in__startswith="listed-").delete()


def ask(query: str) -> HttpRequest:
    request = RequestFactory().get("/people/")
    request.GET = QueryDict(query)
    return request


def listed(query: str, size: int = 4) -> Listing[Person]:
    return Listing.of(
        ask(query),
        Person.objects.filter(sign_in__startswith="listed-"),
        search=("name", "sign_in"),
        sorts={"name": "name", "role": ("role", "-name")},
        default="name",
        filters=(ROLE, ACTIVE),
        size=size,
    )


def follow(url: str) -> Listing[Person]:
    return listed(urlsplit(url).query)


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("people")]
queries = st.lists(
    st.tuples(
        st.sampled_from(["q", "sort", "page", "role", "active", "x"]),
        st.one_of(
            st.sampled_from(["a", "ek", "-name", "role", "name", "2", "3", "owner", "all", "yes"]),
            st.text(max_size=12),
        ),
    ),
    max_size=6,
)
relaxed = settings(
    deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@relaxed
@given(queries)
def test_any_address_gives_a_list_whose_state_leads_back_to_it(
    pairs: list[tuple[str, str]],
) -> None:
    query = QueryDict(mutable=True)
    for key, value in pairs:
        query.appendlist(key, value)
    page = listed(query.urlencode())
    assert 1 <= page.number <= page.pages
    assert len(page.rows) <= 4
    again = follow(page.url(**dict(page.state())))
    assert [r.pk for r in again.rows] == [r.pk for r in page.rows]
    assert again.state() == page.state()


@relaxed
@given(queries)
def test_walking_the_pages_meets_every_row_once(pairs: list[tuple[str, str]]) -> None:
    query = QueryDict(mutable=True)
    query.update(dict(pairs))
    query["page"] = "1"
    page = listed(query.urlencode())
    met = [r.pk for r in page.rows]
    while page.number < page.pages:
        page = follow(page.next_url)
        met += [r.pk for r in page.rows]
    assert len(met) == len(set(met)) == page.found
    assert met == [r.pk for r in listed(query.urlencode(), size=100).rows]


def test_search_wants_every_word_in_some_field() -> None:
    assert {p.name for p in listed("q=ek+dov").rows} == {"Dov Ek"}
    assert listed("q=dov+xyz").found == 0
    assert listed("q=LISTED-ADA").found == 1
    assert "\x00" not in listed("q=b%00o").search  # PostgreSQL would refuse it


def test_search_takes_per_cent_and_underscore_as_themselves() -> None:
    assert listed("q=%25").found == 0
    assert listed("q=_").found == 0


def test_sorts_rise_fall_and_turn_round() -> None:
    rising = [p.name for p in listed("", 100).rows]
    assert rising == sorted(rising)
    assert [p.name for p in listed("sort=-name", 100).rows] == rising[::-1]
    page = listed("")
    assert parse_qsl(urlsplit(page.sort_url("name")).query) == [("sort", "-name")]
    assert page.direction("name") == "ascending"
    assert follow(page.sort_url("name")).direction("name") == "descending"
    assert page.direction("role") == "none"


def test_a_sort_of_several_fields_turns_each_round() -> None:
    up = [(p.role, p.name) for p in listed("sort=role", 100).rows]
    assert up == sorted(up, key=lambda r: (r[0], [-ord(c) for c in r[1]]))
    assert [(p.role, p.name) for p in listed("sort=-role", 100).rows] == up[::-1]


def test_rows_that_tie_keep_one_order_from_page_to_page() -> None:
    with CaptureQueriesContext(connection) as asked:
        listed("sort=role")
    order = asked[-1]["sql"].split("ORDER BY")[1]
    assert re.search(r'"role" ASC,.*"name" DESC,.*"id" ASC', order)


def test_chips_choose_and_let_go() -> None:
    role, active = listed("").shown_filters()
    assert not any(c.chosen for c in role.choices)
    chosen = follow(role.choices[0].url)
    assert {p.role for p in chosen.rows} == {"owner"}
    assert follow(chosen.shown_filters()[0].choices[0].url).found == 10
    assert active.choices[0].chosen
    assert follow(active.choices[1].url).found == 11
    assert follow(listed("q=bo").clear_url).found == 11


def test_a_change_goes_back_to_the_first_page_and_keeps_the_rest() -> None:
    page = listed("q=listed&sort=-name&page=2&role=taster")
    assert page.number > 1
    assert dict(parse_qsl(urlsplit(page.sort_url("role")).query)) == {
        "q": "listed",
        "sort": "role",
        "role": "taster",
    }
    assert ("page", "2") not in page.hidden


@pytest.mark.parametrize("page", ["0", "-3", "99", "x", "1e3", "٣", "9" * 5000, ""])
def test_a_page_that_is_none_is_the_nearest_one(page: str) -> None:
    assert listed(f"page={page}").number in {1, 3}


def test_the_number_of_queries_does_not_grow_with_the_rows() -> None:
    with CaptureQueriesContext(connection) as few:
        listed("q=ek", size=2)
    with CaptureQueriesContext(connection) as many:
        listed("", size=100)
    assert len(few) == len(many) == LISTING_QUERIES


def test_rows_can_be_shown_as_something_else() -> None:
    page = listed("q=dov")
    shown = page.map(lambda person: person.name.upper())
    assert shown.rows == ["DOV EK"]
    assert shown.state() == page.state()


def test_a_listing_that_contradicts_itself_is_refused() -> None:
    people = Person.objects.all()
    with pytest.raises(InputError, match="default"):
        Listing.of(ask(""), people, sorts={"name": "name"}, default="price")
    bad = Filter("page", "Page", (Choice("a", "A", Q()),))
    with pytest.raises(InputError, match="filters"):
        Listing.of(ask(""), people, sorts={"name": "name"}, default="name", filters=(bad,))


def rendered(query: str, **more: object) -> str:
    template = engines["django"].from_string(
        '{% listing page noun="person" nouns="people" empty_href="/add/" empty_action="Add one" %}'
        '<thead><tr>{% heading page "name" "Name" %}{% heading page "age" "Age" align="end" %}</tr>'
        "</thead><tbody>{% for p in page.rows %}<tr><td>{{ p.name }}</td></tr>{% endfor %}</tbody>"
        "{% endlisting %}"
    )
    return template.render({"page": listed(query), **more})


def test_the_table_shows_count_order_and_what_is_hidden() -> None:
    html = rendered("q=ek")
    assert "5 people found" in html.replace("1–4 of ", "")
    assert 'aria-sort="ascending"' in html
    assert html.count("aria-sort") == 1  # age cannot be sorted by
    assert "show all" in html
    assert "1 person " not in html
    assert "1 person found" in rendered("q=dov")


def test_a_search_without_finds_says_so_and_escapes_what_was_typed() -> None:
    html = rendered("q=<script>alert(1)</script>")
    assert "No person matches" in html
    assert "<script>" not in html
    assert "<table" not in html


def test_nothing_at_all_says_what_to_do_next() -> None:
    template = engines["django"].from_string(
        '{% listing page noun="lot" empty_text="Buy some." empty_href="/add/" %}{% endlisting %}'
    )
    bare = Listing.of(
        ask(""), Person.objects.none(), sorts={"name": "name"}, default="name", search=("name",)
    )
    html = template.render({"page": bare})
    assert "No lots yet" in html
    assert 'href="/add/"' in html
    assert 'type="search"' not in html
