"""Small line drawings of our own on a grid of 24, drawn with the colour of the text around them."""

from __future__ import annotations

from django.utils.safestring import SafeString, mark_safe

from coupage.errors import InputError

__all__ = ["ICONS", "icon"]

# Paths only; stroke and size come from components.css.
ICONS: dict[str, str] = {
    # sections
    "today": '<path d="M3 17h18M6 17a6 6 0 0 1 12 0M12 4v3M4.5 9l2 1.6M19.5 9l-2 1.6M8 21h8"/>',
    "lot": '<path d="M7 7h10l2 13H5zM9 7c0-2-1-3-1-4h8c0 1-1 2-1 4M9.5 13.5c2-2 3 1 5-1"/>',
    "batch": '<path d="M4 12a8 8 0 1 1 16 0 8 8 0 0 1-16 0zM12 4v8l5.5 5.5M12 12H4"/>',
    "cup": '<path d="M4 9h16c0 6-3 10-8 10S4 15 4 9zM9 22h6"/>'
    '<path d="M9 5.5c0-1 1-1 1-2M14 5.5c0-1 1-1 1-2"/>',
    "brief": '<path d="M5 4v16M5 4h4M5 20h4M19 4v16M19 4h-4M19 20h-4M8.5 12h7"/>'
    '<circle cx="12" cy="12" r="2"/>',
    "blend": '<path d="M12 4 3.5 19h17zM12 4v9.5M3.5 19 12 13.5 20.5 19"/>',
    "order": '<path d="M6 3h12v18l-3-2-3 2-3-2-3 2zM9.5 8h5M9.5 12h5"/>',
    "trial": '<path d="M12 4 3.5 19h17z"/><circle cx="12" cy="4" r="1.6"/>'
    '<circle cx="3.5" cy="19" r="1.6"/><circle cx="20.5" cy="19" r="1.6"/>',
    "roastday": '<path d="M4 6h16v14H4zM4 10.5h16M8 3.5v4M16 3.5v4M8 14h5M8 17h8"/>',
    "bag": '<path d="M7 6h10l2 15H5zM8.5 6V3h7v3M9 3h6M9 13h6M9 16.5h6"/>',
    "person": '<circle cx="12" cy="8" r="4"/><path d="M4.5 20.5c.8-4 3.6-6 7.5-6s6.7 2 7.5 6"/>',
    "people": '<circle cx="9" cy="8.5" r="3.5"/><path d="M2.5 19.5c.6-3.5 3-5.2 6.5-5.2'
    's5.9 1.7 6.5 5.2M15.5 5.3a3.4 3.4 0 0 1 0 6.4M18 14.8c2 .7 3.1 2.2 3.5 4.7"/>',
    # verdicts: each its own outline
    "same": '<path d="M5 9.5h14M5 14.5h14"/>',
    "different": '<path d="M5 9.5h14M5 14.5h14M16 5 8 19"/>',
    "unsure": '<path d="M3 12h6M15 12h6M3 9v6M21 9v6"/><circle cx="12" cy="12" r="3"/>',
    "release": '<path d="m5 12.5 4.5 4.5L19 7"/>',
    "look": '<circle cx="11" cy="11" r="6"/><path d="m15.5 15.5 5 5"/>',
    "hold": '<path d="M8.5 5v14M15.5 5v14"/>',
    # doing
    "search": '<circle cx="10.5" cy="10.5" r="6"/><path d="m15 15 5.5 5.5"/>',
    "add": '<path d="M12 5v14M5 12h14"/>',
    "remove": '<path d="M6 6l12 12M18 6 6 18"/>',
    "edit": '<path d="M5 19l1-4L16 5l3 3L9 18zM13.5 7.5l3 3"/>',
    "print": '<path d="M7 9V4h10v5M7 17H4V9h16v8h-3M7 14h10v6H7z"/>',
    "download": '<path d="M12 4v11M7.5 11 12 15.5 16.5 11M5 20h14"/>',
    "upload": '<path d="M12 16V5M7.5 9 12 4.5 16.5 9M5 20h14"/>',
    "up": '<path d="m6 15 6-6 6 6"/>',
    "down": '<path d="m6 9 6 6 6-6"/>',
    "back": '<path d="m14 6-6 6 6 6"/>',
    "next": '<path d="m10 6 6 6-6 6"/>',
    "more": '<path d="M5 12h.01M12 12h.01M19 12h.01"/>',
    "theme": '<circle cx="12" cy="12" r="8"/><path d="M12 4v16M12 8h6.5M12 12h8M12 16h6.5"/>',
    "keys": '<path d="M3 7h18v10H3zM6.5 10.5h.01M10 10.5h.01M14 10.5h.01M17.5 10.5h.01M8 14h8"/>',
    # saying
    "caution": '<path d="M12 4 2.5 20h19zM12 10v4.5M12 17.3v.01"/>',
    "stop": '<path d="M8 3h8l5 5v8l-5 5H8l-5-5V8zM12 8v5M12 16v.01"/>',
    "note": '<circle cx="12" cy="12" r="8.5"/><path d="M12 11v5.5M12 7.5v.01"/>',
    "done": '<circle cx="12" cy="12" r="8.5"/><path d="m8 12.3 2.8 2.8L16 9.5"/>',
    "source": '<path d="M6 4h12v16l-6-4-6 4z"/>',
}


def icon(name: str, label: str = "") -> SafeString:
    """Return a drawing; hidden from screen readers unless ``label`` names it.

    Raises
    ------
    InputError
        When there is no such drawing.
    """
    if name not in ICONS:
        raise InputError(f"icon: there is no {name!r}; use one of {', '.join(ICONS)}")
    said = f'role="img" aria-label="{label}"' if label else 'aria-hidden="true"'
    return mark_safe(  # noqa: S308  our own paths; label is a constant of our templates
        f'<svg class="icon" viewBox="0 0 24 24" width="20" height="20" {said}>{ICONS[name]}</svg>'
    )
