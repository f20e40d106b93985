"""Links lead somewhere, pictures are there, and every page can be found."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

import pytest
from tools.pictures import MOST_BYTES, PICTURES, SHOTS

from tests.docs.pages import DOCS, NAMES, PAGES, ROOT, anchor, headings, links, text_of


@pytest.mark.parametrize("name", NAMES)
def test_links_within_the_project_lead_somewhere(name: str) -> None:
    broken = []
    for link in links(text_of(name)):
        parts = urlsplit(link)
        if parts.scheme:
            broken.append(f"{link} leads out of the project")
            continue
        target = (ROOT / name).parent / parts.path if parts.path else ROOT / name
        if not target.exists():
            broken.append(f"{link} is not there")
        elif parts.fragment and parts.fragment not in {
            anchor(heading) for heading in headings(target.read_text("utf-8"))
        }:
            broken.append(f"{link} has no such heading")
    assert not broken


def test_every_page_is_reached_from_the_readme() -> None:
    found: set[Path] = set()
    waiting = [ROOT / "README.md"]
    while waiting:
        page = waiting.pop()
        if page in found:
            continue
        found.add(page)
        for link in links(page.read_text("utf-8")):
            target = (page.parent / urlsplit(link).path).resolve()
            if target.suffix == ".md" and target.exists():
                waiting.append(target)
    assert set(PAGES) <= found


def test_pictures_are_those_that_the_script_takes_and_small_enough() -> None:
    there = {picture.stem: picture for picture in PICTURES.glob("*")}
    assert set(there) == {shot.name for shot in SHOTS}
    assert len({shot.name for shot in SHOTS}) == len(SHOTS)
    for picture in there.values():
        assert picture.read_bytes().startswith(b"\x89PNG")
        assert picture.stat().st_size <= MOST_BYTES


def test_the_pages_show_what_matters() -> None:
    shown = {
        Path(link).stem for name in NAMES for link in links(text_of(name)) if "pictures/" in link
    }
    assert shown <= {shot.name for shot in SHOTS}
    assert {"today", "result", "brief", "choose", "weighing-sheet", "taste-phone"} <= shown


def test_decisions_are_numbered_without_a_gap_and_listed() -> None:
    pages = sorted(page.name for page in (DOCS / "decisions").glob("[0-9]*.md"))
    assert [page[:4] for page in pages] == [f"{n:04d}" for n in range(1, len(pages) + 1)]
    assert links(text_of("docs/decisions/README.md")) == pages
    for page in pages:
        text = text_of(f"docs/decisions/{page}")
        assert text.startswith(f"# {int(page[:4])}. ")
        assert all(part in text for part in ("**Decided.**", "**Why.**", "**Rejected.**"))
