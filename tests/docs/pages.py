"""The Markdown pages of the project, and the pieces that tests look at."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SRC = ROOT / "src" / "coupage"
DOCS = ROOT / "docs"
PAGES = sorted([*ROOT.glob("*.md"), *DOCS.rglob("*.md")])
NAMES = [page.relative_to(ROOT).as_posix() for page in PAGES]

_FENCE = re.compile(r"^[ ]*```(\w*)\n(.*?)^[ ]*```$", re.MULTILINE | re.DOTALL)
_LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)|<img [^>]*src=\"([^\"]+)\"")


def text_of(name: str) -> str:
    return (ROOT / name).read_text("utf-8")


def blocks(text: str, *languages: str) -> Iterator[str]:
    """Give the fenced blocks of some languages."""
    for language, body in _FENCE.findall(text):
        if language in languages:
            yield body


def without_blocks(text: str) -> str:
    return _FENCE.sub("", text)


def links(text: str) -> list[str]:
    """Give the targets of links and pictures, those of the linked pictures in tables too."""
    return [one or other for one, other in _LINK.findall(without_blocks(text))]


def headings(text: str) -> list[str]:
    return re.findall(r"^#+ (.+?)\s*$", without_blocks(text), re.MULTILINE)


def anchor(heading: str) -> str:
    """Return the anchor that renderers of Markdown give a heading."""
    plain = re.sub(r"[^\w\- ]", "", heading.lower())
    return plain.strip().replace(" ", "-")
