"""Tasting words in families: our own list in ``lexicon.toml``, and what the roastery adds to it.

A file ``words.toml`` in the data folder has the same form and is read once, at the start: its words
go before ours, in any language, into a family of ours or one of its own.
"""

from __future__ import annotations

import logging
import tomllib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from coupage.web.places import data_folder

__all__ = ["OTHER", "OWN_WORDS", "CountedFamily", "count_words", "family_of", "suggestions"]

OTHER = "other words"
OWN_WORDS = "words.toml"
_LOG = logging.getLogger(__name__)
_LEXICON = Path(__file__).with_name("lexicon.toml")


@dataclass(frozen=True, slots=True)
class CountedFamily:
    """A family with its words, each with how often it was said; the most said first."""

    name: str
    count: int
    words: tuple[tuple[str, int], ...]


@cache
def _families() -> dict[str, str]:
    """Return the family of each word."""
    found: dict[str, str] = {}
    for lexicon in (_own_lexicon(), tomllib.loads(_LEXICON.read_text(encoding="utf-8"))):
        for family, entry in lexicon.items():
            for word in entry["words"]:
                found.setdefault(" ".join(word.lower().split()), family.lower())
    return found


def _own_lexicon() -> dict[str, dict[str, list[str]]]:
    """Return the roastery's own words; a file that cannot be used is told in the log and left out.

    A table must not fail for a comma in a list of words.
    """
    place = data_folder() / OWN_WORDS
    try:
        own = tomllib.loads(place.read_text(encoding="utf-8"))
        for family, entry in own.items():
            words = entry["words"]
            if not (isinstance(words, list) and all(isinstance(word, str) for word in words)):
                raise TypeError(f'[{family}] needs: words = ["...", "..."]')
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, TypeError) as problem:
        _LOG.warning("%s is left out, it is no list of words: %s", place, problem)
        return {}
    return own


def suggestions() -> list[str]:
    """Return all words of the list in the order of the alphabet."""
    return sorted(_families())


def family_of(word: str) -> str:
    """Return the family of a word; its plural, and the last of several words, will do.

    >>> family_of("red currants"), family_of("ripe plum"), family_of("Tuesday")
    ('fruit', 'fruit', 'other words')
    """
    families = _families()
    text = " ".join(word.lower().split())
    last = text.rpartition(" ")[2]
    for candidate in (*_singular(text), *_singular(last)):
        if candidate in families:
            return families[candidate]
    return OTHER


def _singular(word: str) -> tuple[str, ...]:
    ends = (("ies", "y"), ("es", ""), ("s", ""))
    return (word, *(word.removesuffix(end) + to for end, to in ends if word.endswith(end)))


def count_words(words: Iterable[str]) -> tuple[CountedFamily, ...]:
    """Count words by family, most said first; words of no family come last.

    >>> [(f.name, f.count) for f in count_words(["plum", "cocoa", "plum", "zork"])]
    [('fruit', 2), ('cocoa', 1), ('other words', 1)]
    """
    counted = Counter(" ".join(word.lower().split()) for word in words)
    by_family: dict[str, list[tuple[str, int]]] = {}
    for word, count in sorted(counted.items(), key=lambda pair: (-pair[1], pair[0])):
        by_family.setdefault(family_of(word), []).append((word, count))
    families = [
        CountedFamily(name, sum(count for _, count in found), tuple(found))
        for name, found in by_family.items()
    ]
    return tuple(sorted(families, key=lambda f: (f.name == OTHER, -f.count, f.name)))
