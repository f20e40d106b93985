"""Pages read the same on every machine, name nobody, and keep to short lines."""

from __future__ import annotations

import re

import pytest

from coupage.web.common.cautions import CAUTIONS
from tests.docs.pages import NAMES, text_of, without_blocks

# Folders of somebody's own machine, addresses of somebody's network, loose ends.
FORBIDDEN = {
    "a folder of one machine": r"(?<![\w.~])/(?:work|tmp|home|root|Users|mnt)/",
    "a network address": r"\b(?!127\.0\.0\.1\b)(?:\d{1,3}\.){3}\d{1,3}\b",
    "a loose end": r"\b(?:TODO|FIXME|XXX|TBD|lorem ipsum)\b",
    "a package index": r"(?i)\b(?:pypi\.org|pythonhosted|index-url|extra-index)\b",
}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_page_holds(name: str, what: str) -> None:
    found = re.findall(FORBIDDEN[what], text_of(name))
    assert not found, what


@pytest.mark.parametrize("name", NAMES)
def test_a_page_begins_with_its_one_title(name: str) -> None:
    lines = without_blocks(text_of(name)).splitlines()
    titles = [line for line in lines if line.startswith("# ")]
    assert lines[0].startswith("# ")
    assert len(titles) == 1


def test_the_readme_opens_with_the_job_then_the_two_commands_then_a_picture() -> None:
    text = text_of("README.md")
    job, first, second, picture = (
        text.index(part) for part in ("\n\nCoupage is", "make run", "make test", "![")
    )
    assert job < first < second < picture
    assert "\n\n" not in text[job + 2 : text.index("```sh")].strip()


def test_the_readme_shows_every_caution_and_defers_to_those_who_know() -> None:
    text = " ".join(text_of("README.md").split()).lower()
    words = {
        "gas": "carbon monoxide",
        "diacetyl": "diacetyl",
        "fire": "catch fire",
        "scald": "scalds",
        "caffeine": "caffeine",
        "hygiene": "own spoon and glass",
        "packing": "clean hands and scoops",
        "allergens": "allergens",
        "lifting": "60 to 70 kg",
    }
    assert set(words) == set(CAUTIONS)
    assert [key for key, word in words.items() if word not in text] == []
    assert "local codes, the machine maker's instructions" in text
