"""Every answer is fenced in, too much is refused unread, and failure pages keep calm."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings as live
from django.core.exceptions import RequestDataTooBig
from django.core.handlers.wsgi import WSGIRequest
from django.http import HttpResponse
from django.test import Client, RequestFactory

import coupage.web
from coupage.web.common import views
from coupage.web.common.middleware import CONTENT_SECURITY_POLICY, UploadLimit
from coupage.web.people.models import Person
from tests.web.conftest import As

pytestmark = pytest.mark.usefixtures("pages")
WEB = Path(coupage.web.__file__).parent


def quiet(person: Person) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client


def fetched(client: Client, address: str) -> HttpResponse:
    """Get an address to its end, so that a streamed file is closed again."""
    response: HttpResponse = client.get(address)
    if response.streaming:
        list(response.streaming_content)  # type: ignore[attr-defined]
        response.close()
    return response


ANSWERS = {
    "/gallery/": 200,
    "/nowhere/": 404,
    "/refused/": 403,
    "/broken/": 500,
    "/static/coupage/base.css": 200,
    "/lots/export/": 200,
}


@pytest.mark.parametrize(("address", "status"), ANSWERS.items())
def test_every_answer_carries_the_policy(viewer: Person, address: str, status: int) -> None:
    response = fetched(quiet(viewer), address)
    assert response.status_code == status
    assert response.headers["Content-Security-Policy"] == CONTENT_SECURITY_POLICY
    assert response.headers["X-Content-Type-Options"] == "nosniff"


def test_the_policy_opens_nothing_but_our_own_files() -> None:
    # W3C Content Security Policy Level 3, section 6: default-src is the fallback of all the rest.
    rules = dict(rule.split(" ", 1) for rule in CONTENT_SECURITY_POLICY.split("; "))
    assert rules["default-src"] == "'none'"
    assert set(rules.values()) <= {"'none'", "'self'"}
    # These three do not fall back to default-src and must be named.
    assert {"base-uri", "form-action", "frame-ancestors"} <= set(rules)


class Inline(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        if tag == "style" or (tag == "script" and not names.get("src")):
            self.found.append(f"<{tag}>")
        self.found += [
            f"{tag} {name}" for name in names if name == "style" or name.startswith(("on", "hx-on"))
        ]
        if "js:" in (names.get("hx-vals") or "") or "[" in (names.get("hx-trigger") or ""):
            self.found.append(f"{tag} needs eval")
        for name in ("href", "action", "src"):
            if (names.get(name) or "").strip().lower().startswith("javascript:"):
                self.found.append(f"{tag} {name}")


def inline(html: str) -> list[str]:
    parser = Inline()
    parser.feed(html)
    return parser.found


@pytest.mark.parametrize(
    "bad",
    [
        '<p style="x">',
        "<p onclick=x>",
        "<script>x</script>",
        "<style></style>",
        '<a href="javascript:x">',
        '<div hx-trigger="click[x]">',
    ],
)
def test_the_check_for_inline_code_sees_it(bad: str) -> None:
    assert inline(bad)


@pytest.mark.parametrize("address", ["/gallery/", "/gallery/sheet/", "/nowhere/", "/lots/import/"])
def test_pages_need_nothing_that_the_policy_forbids(owner: Person, address: str) -> None:
    assert inline(quiet(owner).get(address).text) == []


def test_no_template_of_any_app_needs_what_the_policy_forbids() -> None:
    for template in WEB.rglob("templates/**/*.html"):
        text = re.sub(r"{[#%{].*?[#%}]}", "x", template.read_text("utf-8"))
        assert inline(text) == [], template


def test_no_page_names_another_host(owner: Person) -> None:
    html = quiet(owner).get("/gallery/").text
    assert not re.search(r'(?:src|href|action)="(?:https?:)?//', html)


def test_static_files_of_the_frame_are_served(owner: Person) -> None:
    client = quiet(owner)
    named = re.findall(r'(?:href|src)="(/static/[^"]+)"', client.get("/gallery/").text)
    assert "/static/django_htmx/htmx-2.min.js" in named
    assert len(named) > 10
    assert {fetched(client, address).status_code for address in named} == {200}


class Unreadable:
    def read(self, *_: object) -> bytes:
        raise AssertionError("the body was read")

    readline = read


def oversized(size: str) -> WSGIRequest:
    return RequestFactory().generic(
        "POST", "/note/", CONTENT_LENGTH=size, **{"wsgi.input": Unreadable()}
    )


def test_two_hundred_megabytes_are_refused_before_a_byte_is_read() -> None:
    def view(request: object) -> None:
        raise AssertionError("the request went through")

    response = UploadLimit(view)(oversized(str(200 * 1024 * 1024)))  # type: ignore[arg-type]
    assert response.status_code == 413
    assert "200 MB" in response.text  # type: ignore[attr-defined]
    assert "Nothing was changed" in response.text  # type: ignore[attr-defined]


def test_the_limit_itself_goes_through_and_one_byte_more_does_not() -> None:
    passed: list[object] = []

    def view(request: object) -> object:
        passed.append(request)
        return request

    limit = UploadLimit(view)  # type: ignore[arg-type]
    limit(oversized(str(live.UPLOAD_LIMIT_BYTES)))
    assert len(passed) == 1
    limit(oversized(str(live.UPLOAD_LIMIT_BYTES + 1)))
    assert len(passed) == 1
    limit(oversized("rubbish"))
    assert len(passed) == 2


def test_a_refused_upload_needs_no_sign_in_to_be_told() -> None:
    response = Client().generic(
        "POST", "/lots/import/", b"x", CONTENT_LENGTH=str(live.UPLOAD_LIMIT_BYTES + 1)
    )
    assert response.status_code == 413


def test_a_missing_page_says_our_sentence_and_none_of_the_framework(viewer: Person) -> None:
    client = quiet(viewer)
    assert "That lot is used up." in client.get("/missing/").text
    page = client.get("/nowhere/").text
    assert "There is nothing at this address" in page
    assert "tests.web" not in page
    assert 'aria-label="Sections"' in page


def test_a_refusal_says_why(viewer: Person) -> None:
    page = quiet(viewer).get("/refused/").text
    assert "Only an owner may do that." in page
    assert "Nothing was changed." in page


def test_our_own_mistake_is_said_without_database_or_session(viewer: Person) -> None:
    request = RequestFactory().get("/broken/")  # no user, no session
    assert "on our side" in views.server_error(request).text
    assert quiet(viewer).get("/broken/").status_code == 500


@pytest.mark.django_db
def test_too_much_of_a_form_is_413_and_not_a_riddle() -> None:
    request = RequestFactory().get("/")
    assert views.bad_request(request, RequestDataTooBig()).status_code == 413
    assert views.bad_request(request, ValueError()).status_code == 400


def checking(person: Person) -> Client:
    client = Client(enforce_csrf_checks=True)
    client.force_login(person)
    return client


OURS = {"Origin": "http://testserver", "Sec-Fetch-Site": "same-origin"}


def test_an_old_page_keeps_what_was_typed_and_can_be_sent_again(viewer: Person) -> None:
    client = checking(viewer)
    typed = {"note": "plum & <cocoa>", "password": "hush-hush", "csrfmiddlewaretoken": "old"}
    response = client.post("/note/?at=3", typed, headers=OURS)
    assert response.status_code == 403
    assert 'name="note" value="plum &amp; &lt;cocoa&gt;"' in response.text
    assert 'action="/note/?at=3"' in response.text
    assert "hush-hush" not in response.text
    token = re.search(r'action="/note/\?at=3"><input[^>]*value="(\w+)"', response.text)
    assert token
    again = client.post(
        "/note/?at=3", {"note": "plum", "csrfmiddlewaretoken": token[1]}, headers=OURS
    )
    assert again.status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Origin": "http://testserver", "Sec-Fetch-Site": "cross-site"},
        {"Origin": "http://testserver", "Sec-Fetch-Site": "same-site"},
        {"Referer": "https://elsewhere.example/form"},
        {},
        {"Origin": "null"},
    ],
)
def test_another_sites_form_is_never_offered_again(viewer: Person, headers: dict[str, str]) -> None:
    response = checking(viewer).post("/note/", {"note": "pay me"}, headers=headers)
    assert response.status_code == 403
    assert "pay me" not in response.text
    assert "did not come from this program" in response.text


def test_htmx_gets_a_fresh_token_only_on_our_own_page(viewer: Person) -> None:
    client = checking(viewer)
    ours = client.post("/note/", {}, headers={**OURS, "HX-Request": "true"})
    token = ours.headers["X-Fresh-Token"]
    assert client.post("/note/", {}, headers={**OURS, "X-CSRFToken": token}).status_code == 200
    theirs = client.post(
        "/note/", {}, headers={"Origin": "https://elsewhere.example", "HX-Request": "true"}
    )
    assert "X-Fresh-Token" not in theirs.headers


def test_what_was_done_is_said_with_its_way_back(viewer: Person, signed_in: As) -> None:
    html = signed_in(viewer).get("/said/").text
    assert "Put &lt;away&gt;." in html
    assert 'action="/note/?a=1&amp;b=2"' in html
    assert html.count(">Undo<") == 1
    assert "Not put away." in html
