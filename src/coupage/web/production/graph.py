"""A trace as a picture: layers from left to right, lines that cross as little as they easily can.

Across, everything is placed in per cent, so that one drawing fits a laptop and a sheet; down, in
CSS pixels. Pure: keys in, SVG out.

References
----------
.. [1] K. Sugiyama, S. Tagawa, M. Toda, Methods for visual understanding of hierarchical system
   structures, IEEE Trans. SMC 11 (1981): layers, then barycentres to lessen crossings.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from coupage.web.common.drawing import percent

__all__ = ["Node", "crossings", "draw_layers", "fold", "order_layers"]

K = TypeVar("K", bound=Hashable)
BOX, GAP = 42, 12
SWEEPS = 8


@dataclass(frozen=True, slots=True)
class Node:
    """One box: what stands in it, what kind it is (a CSS class), where it leads."""

    title: str
    sub: str = ""
    tone: str = ""
    href: str = ""


def order_layers(layers: Sequence[Sequence[K]], edges: Iterable[tuple[K, K]]) -> list[list[K]]:
    """Reorder each layer so that fewer lines cross: barycentres, down and up, the best is kept."""
    edges = list(edges)
    best = [list(layer) for layer in layers]
    fewest = crossings(best, edges)
    now = [list(layer) for layer in layers]
    down: dict[K, list[K]] = {}
    up: dict[K, list[K]] = {}
    for a, b in edges:
        down.setdefault(a, []).append(b)
        up.setdefault(b, []).append(a)
    for sweep in range(SWEEPS):
        forward = sweep % 2 == 0
        near = up if forward else down
        for i in range(len(now)) if forward else reversed(range(len(now))):
            place = {
                key: j / max(1, len(layer) - 1) for layer in now for j, key in enumerate(layer)
            }

            def middle(
                key: K, place: dict[K, float] = place, near: dict[K, list[K]] = near
            ) -> float:
                others = [place[other] for other in near.get(key, ()) if other in place]
                return sum(others) / len(others) if others else place[key]

            now[i].sort(key=middle)
        found = crossings(now, edges)
        if found < fewest:
            fewest, best = found, [list(layer) for layer in now]
    return best


def crossings(layers: Sequence[Sequence[K]], edges: Iterable[tuple[K, K]]) -> int:
    """Count pairs of lines between the same two layers that cross."""
    at = {key: (i, j) for i, layer in enumerate(layers) for j, key in enumerate(layer)}
    lines: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for a, b in edges:
        if a in at and b in at:
            lines.setdefault((at[a][0], at[b][0]), []).append((at[a][1], at[b][1]))
    return sum(
        (a - c) * (b - d) < 0
        for found in lines.values()
        for n, (a, b) in enumerate(found)
        for c, d in found[:n]
    )


def fold(
    layers: Sequence[Sequence[Hashable]], edges: Mapping[tuple[Hashable, Hashable], int], most: int
) -> tuple[list[list[Hashable]], dict[tuple[Hashable, Hashable], int], dict[Hashable, int]]:
    """Keep the ``most`` best connected of each layer; the others become one box with their number.

    Returns
    -------
    layers, edges, folded
        Folded boxes are named ``"more-0"``, ``"more-1"`` by layer; ``folded`` counts what is in
        them.
    """
    weight: dict[Hashable, int] = {}
    for (a, b), amount in edges.items():
        weight[a] = weight.get(a, 0) + amount
        weight[b] = weight.get(b, 0) + amount
    new: dict[Hashable, Hashable] = {}
    kept: list[list[Hashable]] = []
    folded: dict[Hashable, int] = {}
    for i, layer in enumerate(layers):
        ranked = sorted(layer, key=lambda key: -weight.get(key, 0))
        some = set(ranked[: most if len(ranked) <= most else most - 1])
        new |= {key: key if key in some else f"more-{i}" for key in layer}
        row: list[Hashable] = [key for key in layer if key in some]
        if len(row) < len(layer):
            folded[f"more-{i}"] = len(layer) - len(row)
            row.append(f"more-{i}")
        kept.append(row)
    joined: dict[tuple[Hashable, Hashable], int] = {}
    for (a, b), amount in edges.items():
        if a in new and b in new and new[a] != new[b]:
            pair = (new[a], new[b])
            joined[pair] = joined.get(pair, 0) + amount
    return kept, joined, folded


def draw_layers(
    layers: Sequence[Sequence[K]],
    edges: Iterable[tuple[K, K]],
    nodes: Mapping[K, Node],
    *,
    headings: Sequence[str],
    label: str,
) -> SafeString:
    """Draw boxes in columns with lines between them.

    Parameters
    ----------
    layers
        Keys by column, in order from the top.
    edges, nodes
        What is joined, and what stands in the boxes.
    headings
        What is said over each column.
    label
        The drawing's spoken name; a table beside it says the same in words.
    """
    wide = 100 / max(1, len(layers))
    box = wide * 0.76
    tallest = max((len(layer) for layer in layers), default=0)
    height = 28 + max(1, tallest) * (BOX + GAP)
    at: dict[K, tuple[float, float]] = {}
    for i, layer in enumerate(layers):
        step = (height - 28) / max(1, len(layer))
        for j, key in enumerate(layer):
            at[key] = (i * wide + (wide - box) / 2, 28 + step * (j + 0.5) - BOX / 2)
    lines = format_html_join(
        "",
        '<line x1="{}" y1="{}" x2="{}" y2="{}"/>',
        (
            (
                percent(at[a][0] + box),
                f"{at[a][1] + BOX / 2:.1f}",
                percent(at[b][0]),
                f"{at[b][1] + BOX / 2:.1f}",
            )
            for a, b in edges
            if a in at and b in at
        ),
    )
    boxes = format_html_join("", "{}", ((_box(nodes[key], *at[key], box),) for key in at))
    heads = format_html_join(
        "",
        '<text class="layer" x="{}" y="14">{}</text>',
        ((percent(i * wide + (wide - box) / 2), text) for i, text in enumerate(headings)),
    )
    return format_html(
        '<svg class="trace-graph" width="100%" height="{}" role="img" aria-label="{}">'
        '<g class="trace-lines">{}</g>{}{}</svg>',
        f"{height:.0f}",
        label,
        lines,
        heads,
        boxes,
    )


def _box(node: Node, x: float, y: float, width: float) -> SafeString:
    drawn = format_html(
        '<svg class="trace-box {}" x="{}" y="{}" width="{}" height="{}">'
        '<title>{}</title><rect x="0.75" y="0.75" width="100%" height="{}" rx="4"/>'
        '<text class="title" x="9" y="18">{}</text><text class="sub" x="9" y="34">{}</text></svg>',
        node.tone,
        percent(x),
        f"{y:.1f}",
        percent(width),
        BOX,
        f"{node.title}, {node.sub}" if node.sub else node.title,
        BOX - 1.5,
        _short(node.title, width),
        _short(node.sub, width),
    )
    return format_html('<a href="{}">{}</a>', node.href, drawn) if node.href else drawn


def _short(text: str, width: float) -> str:
    """Cut a text to what fits a box on the narrowest drawing; the whole stands in the tooltip."""
    fits = max(8, int(width * 1.3))
    return text if len(text) <= fits else f"{text[: fits - 1].rstrip()}…"
