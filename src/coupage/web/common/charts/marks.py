"""What every chart shares: it writes itself as HTML, and its legend shows the series' marks."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.safestring import SafeString, mark_safe

from coupage.web.common.drawing import mark

__all__ = ["Picture", "marks"]


class Picture:
    """Something that a template writes as HTML by naming it: ``str()`` gives safe text."""

    __slots__ = ()

    def __html__(self) -> str:
        return str(self)


def marks(names: Sequence[str]) -> list[tuple[str, SafeString]]:
    """Legend entries: a name and its mark."""
    return [
        (
            name,
            mark_safe(  # noqa: S308  figures only
                f'<svg class="legend-mark series series-{i + 1}" width="22" height="14" '
                f'aria-hidden="true"><line class="fifty" x1="0" x2="22" y1="7" y2="7"/>'
                f'<svg class="mark" x="11" y="7" overflow="visible">{mark(i)}</svg></svg>'
            ),
        )
        for i, name in enumerate(names)
    ]
