"""The roastery's own words, in its own languages, join our list."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from coupage.web.cuppings import words


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setattr(words, "data_folder", lambda: tmp_path)
    words._families.cache_clear()
    yield tmp_path / words.OWN_WORDS
    words._families.cache_clear()


def test_own_words_go_into_our_families_and_new_ones(own: Path) -> None:
    own.write_text('[fruit]\nwords = ["Pflaume", "reineclaude"]\n[garden]\nwords = ["tomato"]\n')
    assert words.family_of("pflaume") == "fruit"
    assert words.family_of("tomato") == "garden", "the roastery's word goes before ours"
    assert words.family_of("plum") == "fruit"
    assert {"pflaume", "plum"} <= set(words.suggestions())


@pytest.mark.parametrize("text", ["[fruit", "fruit = 3", "[fruit]\nwords = 'plum'", "[fruit]\n"])
def test_a_file_that_is_no_list_is_told_and_left_out(
    text: str, own: Path, caplog: pytest.LogCaptureFixture
) -> None:
    own.write_text(text)
    assert words.family_of("plum") == "fruit"
    assert "left out" in caplog.text
