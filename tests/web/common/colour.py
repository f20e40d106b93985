"""Luminance, contrast and lightness by their definitions (references/wcag/SOURCE.md)."""

from __future__ import annotations

import re
from pathlib import Path

import coupage.web.common

STATIC = Path(coupage.web.common.__file__).parent / "static" / "coupage"


def channels(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def luminance(colour: str) -> float:
    def linear(channel: int) -> float:
        s = channel / 255
        return s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4

    red, green, blue = map(linear, channels(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(a: str, b: str) -> float:
    lighter, darker = sorted((luminance(a), luminance(b)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def lightness(colour: str) -> float:
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > (6 / 29) ** 3 else y * (29 / 3) ** 3


def themes() -> dict[str, dict[str, str]]:
    """The blocks of tokens.css that set colours, by the line that opens them."""
    text = re.sub(r"/\*.*?\*/", "", (STATIC / "tokens.css").read_text("utf-8"), flags=re.S)
    found: dict[str, dict[str, str]] = {}
    for selector, body in re.findall(r"([^{}]*)\{([^{}]*)\}", text):
        name = {
            ":root": "light",
            ':root:not([data-theme="light"])': "device dark",
            ':root[data-theme="dark"]': "dark",
        }.get(" ".join(selector.split()).removeprefix("@media screen").strip(" {"))
        if name:
            values = dict(re.findall(r"--([\w-]+):\s*([^;]+);", body))
            found.setdefault(name, {}).update(values)
    return found
