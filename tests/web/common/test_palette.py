"""The palette holds WCAG 2.2 AA in light and dark, and is what it says it is."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import pytest

from tests.web.common.colour import channels, contrast, lightness, themes

REFERENCES = Path(__file__).parents[2] / "references"
GROUNDS = ("ground", "surface", "sunk")
TEXT = [
    *itertools.product(("ink", "ink-soft", "action", "action-strong", "stop"), GROUNDS),
    *itertools.product(("attention",), ("ground", "surface")),
    ("on-action", "action"),
    ("on-action", "action-strong"),
    ("on-stop", "stop"),
    ("on-stop", "stop-strong"),
    *itertools.product(("ink", "action"), ("action-tint",)),
    *itertools.product(("ink", "attention"), ("attention-tint",)),
    *itertools.product(("ink", "stop", "action"), ("stop-tint",)),
    ("ink-soft", "wanted"),
]
MARKS = [
    *itertools.product(
        ("line-strong", "attention-mark", "focus", "component-edge", "wanted-hook"),
        ("ground", "surface"),
    ),
    *itertools.product([f"series-{i}" for i in range(1, 7)], ("ground", "surface", "wanted")),
    ("wanted-hook", "wanted"),
]


@pytest.fixture(scope="module", params=["light", "dark"])
def theme(request: pytest.FixtureRequest) -> dict[str, str]:
    found = themes()
    return found["light"] | (found[request.param] if request.param == "dark" else {})


def test_contrast_is_computed_as_wcag_defines_it() -> None:
    # Known points: references/wcag/SOURCE.md
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize(("text", "ground"), TEXT)
def test_text_can_be_read(theme: dict[str, str], text: str, ground: str) -> None:
    # WCAG 2.2, success criterion 1.4.3
    assert contrast(theme[text], theme[ground]) >= 4.5


@pytest.mark.parametrize(("mark", "ground"), MARKS)
def test_marks_and_edges_can_be_seen(theme: dict[str, str], mark: str, ground: str) -> None:
    # WCAG 2.2, success criterion 1.4.11
    assert contrast(theme[mark], theme[ground]) >= 3


def test_dark_is_the_same_by_device_and_by_choice() -> None:
    found = themes()
    assert found["device dark"] == found["dark"]
    assert len(found["dark"]) > 30


def test_every_colour_of_light_has_its_dark() -> None:
    found = themes()
    fixed = {n for n in found["light"] if n.startswith(("shade-", "s1", "s2", "s3", "s4", "s5"))}
    colours = {n for n, v in found["light"].items() if v.startswith(("#", "0 1px"))} - fixed
    assert colours <= set(found["dark"])


def test_component_colours_are_the_published_set() -> None:
    published = json.loads((REFERENCES / "okabe_ito" / "colours.json").read_text("utf-8"))
    for theme in themes().values():
        ours = {channels(theme[f"component-{i}"]) for i in range(1, 9)}
        assert ours == {tuple(triple) for triple in published.values()}


def test_shading_rises_evenly_in_lightness() -> None:
    # Perceptual evenness is viridis' design goal (van der Walt and Smith, SciPy 2015); in steps of
    # CIE L* a tenth of the map is 8.6 on average, and no step strays by more than a third.
    tokens = themes()["light"]
    levels = [lightness(tokens[f"shade-{i}"]) for i in range(10)]
    steps = [b - a for a, b in itertools.pairwise(levels)]
    mean = sum(steps) / len(steps)
    assert all(2 / 3 * mean < step < 4 / 3 * mean for step in steps)


def test_print_stays_light() -> None:
    # Both dark blocks stand inside @media screen, so paper never gets them.
    from tests.web.common.colour import STATIC

    text = (STATIC / "tokens.css").read_text("utf-8")
    before_device, before_choice = (
        text.split(selector)[0].rsplit("@media", 1)[1]
        for selector in (':root:not([data-theme="light"])', ':root[data-theme="dark"]')
    )
    assert before_device.startswith(" screen and (prefers-color-scheme: dark)")
    assert before_choice.startswith(" screen {")
