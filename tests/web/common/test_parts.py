"""Every part escapes what people typed, refuses words it does not know, and says what it shows."""

from __future__ import annotations

import re

import pytest
from django.template import engines
from django.test import Client
from django.utils.safestring import SafeString

from coupage.errors import FileProblem, InputError
from coupage.web.common.cautions import CAUTIONS, DEFERRAL
from coupage.web.common.icons import ICONS, icon
from coupage.web.common.templatetags.coupage import VERDICTS
from coupage.web.people.models import Person
from tests.web.conftest import As

PARTS = """
    answer-sentence verdict badge doubt profile-table trend composition-bar swatch stats facts words
    steps progress empty notice caution source worked downloads problems listing chips search data
    row-actions form field wrong error-summary with-unit shares section-head page-head toasts
"""
EVIL = "<script>alert('x')</script>"


def show(source: str, **context: object) -> str:
    return engines["django"].from_string(source).render(context)


@pytest.mark.parametrize(
    "source",
    [
        "{% answer note=evil %}{{ evil }}{% endanswer %}",
        '{% verdict "same" evil %}',
        "{% badge evil %}",
        "{% page_head evil evil evil evil %}{{ evil }}{% endpage_head %}",
        "{% section_head evil evil evil %}{{ evil }}{% endsection_head %}",
        "{% empty evil evil %}{{ evil }}{% endempty %}",
        "{% notice title=evil source=evil %}{{ evil }}{% endnotice %}",
        "{% worked_out title=evil source=evil %}{{ evil }}{% endworked_out %}",
        "{% source evil evil %}",
        "{% facts pairs %}",
        "{% stat evil evil evil evil href=evil %}",
        "{% word_chips words %}",
        "{% steps names 1 %}",
        "{% progress 1 2 evil evil %}",
        "{% downloads evil evil %}",
        "{% problems problems evil %}",
        "{% post_button evil evil ask=evil detail=evil name=evil value=evil %}",
        "<form {% confirm evil evil evil %}>",
        "{% print_button evil %}",
    ],
)
def test_what_people_typed_stays_text(source: str) -> None:
    html = show(
        source,
        evil=EVIL,
        pairs=[(EVIL, EVIL), (EVIL, EVIL, EVIL)],
        words=[(EVIL, 3, EVIL), EVIL],
        names=[EVIL],
        problems=[FileProblem(3, EVIL, EVIL)],
    )
    assert "&lt;script&gt;" in html
    assert "<script" not in html


def test_content_of_a_block_keeps_its_markup() -> None:
    assert "<b>5 %</b>" in show("{% answer %}A <b>5 %</b>{% endanswer %}")
    head = show('{% page_head "T" %}<a href="/x/">Add</a>{% endpage_head %}')
    assert '<div class="actions"><a href="/x/">Add</a></div>' in head
    assert "actions" not in show('{% page_head "T" %} {% endpage_head %}')


def test_verdicts_have_each_their_own_shape_and_their_word() -> None:
    shown = {word: show("{% verdict word %}", word=word) for word in VERDICTS}
    shapes = {re.search(r"<svg.*?</svg>", html, re.S)[0] for html in shown.values()}  # type: ignore[index]
    assert len(shapes) == len(VERDICTS) == 6
    assert all(f">{word}<" in html for word, html in shown.items())


@pytest.mark.parametrize(
    "source",
    [
        '{% verdict "fine" %}',
        '{% badge "x" "pink" %}',
        '{% icon "unicorn" %}',
        '{% caution "bees" %}',
        '{% notice tone="loud" %}{% endnotice %}',
        '{% answer verdict="ok" %}{% endanswer %}',
    ],
)
def test_a_word_that_is_not_ours_is_an_error(source: str) -> None:
    with pytest.raises(InputError, match="one of"):
        show(source)


@pytest.mark.parametrize("key", CAUTIONS)
def test_a_caution_has_its_source_and_leaves_the_last_word_to_others(key: str) -> None:
    html = show("{% caution key %}", key=key)
    assert f"Source: {CAUTIONS[key].source}".split("'")[0] in html
    assert DEFERRAL.split("'")[0] in html


def test_several_cautions_share_one_deferral() -> None:
    html = show('{% caution "gas" "fire" %}')
    assert html.count("Follow local codes") == 1
    assert html.count("Source:") == 2


def test_steps_say_where_one_stands() -> None:
    html = show('{% steps "One|Two|Three" 2 %}')
    assert html.count('aria-current="step"') == 1
    assert re.search(r'class="now" aria-current="step">.*?<span>Two</span>', html, re.S)
    assert html.count('class="done"') == 1


def test_downloads_keep_the_address_they_are_given() -> None:
    html = show('{% downloads "/lots/export/?q=a" %}')
    assert "/lots/export/?q=a&amp;file=csv" in html
    assert 'href="/x/?file=xlsx"' in show('{% downloads "/x/" %}')


def test_shares_and_masses_are_written_as_units_writes_them() -> None:
    assert show("{{ 350000|share }} {{ 14200|mass }} {{ 454|mass:'lb' }} {{ None|mass }}") == (
        "35 % 14.2 kg 1.00 lb –"
    )


def test_icons_are_hidden_or_named() -> None:
    assert all(isinstance(icon(name), SafeString) for name in ICONS)
    assert 'aria-hidden="true"' in icon("same")
    assert 'role="img" aria-label="the same"' in icon("same", "the same")
    assert len({icon(name) for name in ICONS}) == len(ICONS)


@pytest.mark.usefixtures("pages")
def test_the_gallery_shows_every_part(viewer: Person, signed_in: As) -> None:
    client: Client = signed_in(viewer)
    html = client.get("/gallery/").text
    for name in PARTS.split():
        assert re.search(rf'class="[^"]*\b{name}\b', html), name
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    assert "sheet-body" in client.get("/gallery/sheet/").text


@pytest.mark.usefixtures("pages")
def test_the_gallery_searches_sorts_and_filters(viewer: Person, signed_in: As) -> None:
    client = signed_in(viewer)

    def lots(query: str) -> list[str]:
        html = client.get(f"/gallery/?{query}").text
        return re.findall(r'<th scope="row"><a href="#lists">([^<]+)', html)

    assert len(lots("")) == 5
    assert lots("q=ridge") == ["Ridge Four"]
    assert lots("sort=-name") == lots("")[::-1]
    assert lots("stock=low") == ["Low Lantern"]
    assert lots("q=zzz") == []
