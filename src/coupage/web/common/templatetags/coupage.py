"""The parts pages are built from, as template tags. They are builtins: no ``{% load %}`` needed.

``COMPONENTS.md`` beside the app lists them with their arguments; the gallery shows each one. Blocks
(``{% answer %}...{% endanswer %}``) take what stands between as their content.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import template
from django.forms import BaseForm, BaseFormSet, BoundField
from django.template.context import Context
from django.template.loader import render_to_string
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from coupage.errors import InputError
from coupage.units import MassUnit, show_bag, show_mass, show_share
from coupage.web.common import charts, drawing, icons
from coupage.web.common.cautions import DEFERRAL
from coupage.web.common.cautions import caution as find_caution
from coupage.web.common.listing import Listing

register = template.Library()

# Word -> drawing and tone. Few, and the same everywhere; a word that is not here is an error.
VERDICTS: dict[str, tuple[str, str]] = {
    "same": ("same", "action"),
    "different": ("different", "attention"),
    "not enough cups": ("unsure", "quiet"),
    "release": ("release", "action"),
    "look again": ("look", "attention"),
    "hold": ("hold", "stop"),
}
TONES = ("quiet", "action", "attention", "stop")


def _tone(tone: str) -> str:
    if tone not in TONES:
        raise InputError(f"tone: {tone!r} is not one of {', '.join(TONES)}")
    return tone


# --- words and small marks -------------------------------------------------------------------


@register.simple_tag
def icon(name: str, label: str = "") -> SafeString:
    """Draw a small line drawing; ``label`` only where no text stands beside it."""
    return icons.icon(name, label)


@register.inclusion_tag("coupage/parts/verdict.html")
def verdict(word: str, detail: str = "") -> dict[str, object]:
    """Show a verdict: its shape, its word, its colour; ``detail`` such as ``93 %`` behind."""
    if word not in VERDICTS:
        raise InputError(f"verdict: {word!r} is not one of {', '.join(VERDICTS)}")
    drawn, tone = VERDICTS[word]
    return {"word": word, "icon": drawn, "tone": tone, "detail": detail}


@register.simple_tag
def badge(text: str, tone: str = "quiet") -> SafeString:
    """Show the state of a thing (draft, open, closed) as a word in a frame."""
    return format_html('<span class="badge {}">{}</span>', _tone(tone), text)


@register.simple_tag
def swatch(slot: int) -> SafeString:
    """Draw a component's colour and pattern."""
    return charts.swatch(slot)


@register.filter
def share(ppm: int | None) -> str:
    """Write parts per million as per cent."""
    return "–" if ppm is None else show_share(ppm)


@register.filter
def mass(grams: int | Decimal | None, unit: MassUnit = "kg") -> str:
    """Write whole grams in a unit: ``{{ lot.left_g|mass:"kg" }}``."""
    return "–" if grams is None else show_mass(grams, unit)


@register.filter
def clock(seconds: int | None) -> str:
    """Write seconds as minutes and seconds: ``10:40``."""
    return "–" if seconds is None else f"{seconds // 60}:{seconds % 60:02d}"


@register.filter
def bag(grams: int | None, unit: MassUnit = "kg") -> str:
    """Write the size of a bag as its label does: ``{{ line.bag_g|bag:unit }}``."""
    return "–" if grams is None else show_bag(grams, unit)


@register.simple_tag
def doubt(
    interval: drawing.Interval,
    low: float = 0,
    high: float = 10,
    wanted: drawing.Wanted = (None, None),
    label: str = "",
    places: int = 1,
) -> SafeString:
    """Draw one estimate with its doubt; see :func:`coupage.web.common.drawing.doubt_bar`."""
    return drawing.doubt_bar(
        interval, drawing.Axis(low, high), wanted=wanted, label=label, places=places
    )


# --- blocks of a page ------------------------------------------------------------------------


@register.simple_block_tag
def answer(content: str, verdict: str = "", detail: str = "", note: str = "") -> SafeString:
    """Put the answer first, as a plain sentence; ``note`` says how sure, or on what ground."""
    if verdict and verdict not in VERDICTS:
        raise InputError(f"verdict: {verdict!r} is not one of {', '.join(VERDICTS)}")
    return _part(
        "answer", sentence=content, verdict=verdict, detail=detail, note=note, given=bool(verdict)
    )


@register.simple_block_tag
def page_head(
    content: str, title: str, sub: str = "", back: str = "", back_label: str = "Back"
) -> SafeString:
    """Head a page: its name, a line under it, a way back, and actions as content."""
    return _part(
        "page_head",
        actions=_trimmed(content),
        title=title,
        sub=sub,
        back=back,
        back_label=back_label,
    )


@register.simple_block_tag
def section_head(content: str, title: str, sub: str = "", anchor: str = "") -> SafeString:
    """Head a section: its name, a line under it, and actions as content."""
    return _part("section_head", actions=_trimmed(content), title=title, sub=sub, anchor=anchor)


@register.simple_block_tag
def empty(content: str, title: str, text: str = "") -> SafeString:
    """Say that there is nothing yet and what to do next; actions as content."""
    return _part("empty", actions=_trimmed(content), title=title, text=text)


@register.simple_block_tag
def worked_out(
    content: str, title: str = "How this was worked out", source: str = "", is_open: bool = False
) -> SafeString:
    """Fold away how a figure was worked out, with its source."""
    return _part("worked_out", content=content, title=title, source=source, is_open=is_open)


@register.simple_block_tag
def notice(content: str, title: str = "", tone: str = "attention", source: str = "") -> SafeString:
    """Box something the reader must see, such as a limit that was hit."""
    return _part("notice", content=content, title=title, tone=_tone(tone), source=source)


@register.inclusion_tag("coupage/parts/caution.html")
def caution(*keys: str) -> dict[str, object]:
    """Show cautions of ``cautions.py`` with their sources, and whose word comes first."""
    return {"cautions": [find_caution(key) for key in keys], "deferral": DEFERRAL}


@register.simple_tag
def source(text: str, href: str = "") -> SafeString:
    """Say where a number comes from."""
    if href:
        return format_html('<p class="source">Source: <a href="{}">{}</a></p>', href, text)
    return format_html('<p class="source">Source: {}</p>', text)


@register.inclusion_tag("coupage/parts/facts.html")
def facts(pairs: Mapping[str, Any] | Iterable[Sequence[Any]]) -> dict[str, object]:
    """List facts: a mapping, or pairs (label, value) or triples (label, value, address)."""
    items = pairs.items() if isinstance(pairs, Mapping) else pairs
    return {"facts": [(p[0], p[1], p[2] if len(p) > 2 else "") for p in map(tuple, items)]}


@register.inclusion_tag("coupage/parts/stat.html")
def stat(
    value: Any, label: str, unit: str = "", note: str = "", tone: str = "", href: str = ""
) -> dict[str, object]:
    """Show one figure large; several side by side inside ``<div class="stats">``."""
    return {
        "value": value,
        "label": label,
        "unit": unit,
        "note": note,
        "tone": _tone(tone) if tone else "",
        "href": href,
    }


@register.inclusion_tag("coupage/parts/steps.html")
def steps(labels: Sequence[str] | str, current: int) -> dict[str, object]:
    """Show where one stands on a way of several steps; ``labels`` a list, or split by ``|``."""
    names = [s.strip() for s in labels.split("|")] if isinstance(labels, str) else labels
    states = ["done" if i < current else "now" if i == current else "" for i in _count(names)]
    return {"steps": list(zip(names, states, strict=True))}


def _count(names: Sequence[str]) -> range:
    return range(1, len(names) + 1)


@register.inclusion_tag("coupage/parts/progress.html")
def progress(value: float, most: float, label: str, unit: str = "") -> dict[str, object]:
    """Show how much of something is done, as a bar and in figures."""
    return {"value": value, "most": most, "label": label, "unit": unit}


@register.inclusion_tag("coupage/parts/word_chips.html")
def word_chips(words: Iterable[Any]) -> dict[str, object]:
    """Show tasting words: texts, or pairs (word, count), or triples (word, count, family)."""
    shown = []
    for word in words:
        parts = (word,) if isinstance(word, str) else tuple(word)
        shown.append((*parts, "", "")[:3])
    return {"words": shown}


@register.inclusion_tag("coupage/parts/downloads.html")
def downloads(url: str, label: str = "Download") -> dict[str, object]:
    """Offer a table as CSV and XLSX: ``url`` with ``file=csv`` or ``file=xlsx`` added."""
    joined = url + ("&" if "?" in url else "?")
    return {"csv": f"{joined}file=csv", "xlsx": f"{joined}file=xlsx", "label": label}


@register.inclusion_tag("coupage/parts/print_button.html")
def print_button(label: str = "Print") -> dict[str, object]:
    """Offer the browser's print dialog."""
    return {"label": label}


@register.inclusion_tag("coupage/parts/problems.html")
def problems(found: Sequence[Any], title: str = "") -> dict[str, object]:
    """List what is wrong in a file: row, column, message with its remedy."""
    return {"problems": found, "title": title}


# --- doing -------------------------------------------------------------------------------------


@register.simple_tag
def confirm(question: str, detail: str = "", button: str = "", tone: str = "stop") -> SafeString:
    """Return the attributes that make a form ask before it is sent."""
    return format_html(
        'data-confirm="{}" data-confirm-detail="{}" data-confirm-button="{}" '
        'data-confirm-tone="{}"',
        question,
        detail,
        button,
        _tone(tone),
    )


@register.inclusion_tag("coupage/parts/post_button.html", takes_context=True)
def post_button(
    context: Context,
    url: str,
    label: str,
    icon: str = "",
    style: str = "quiet",
    ask: str = "",
    detail: str = "",
    name: str = "",
    value: str = "",
) -> dict[str, object]:
    """Offer a deed as a button with a form of its own; with ``ask`` it asks first.

    ``style`` is ``main``, ``plain``, ``quiet`` or ``stop``.
    """
    return {
        "csrf_token": context.get("csrf_token"),
        "url": url,
        "label": label,
        "icon": icon,
        "style": style,
        "ask": ask,
        "detail": detail,
        "name": name,
        "value": value,
    }


@register.inclusion_tag("coupage/parts/post_button.html", takes_context=True)
def archive_button(context: Context, url: str, archived: bool) -> dict[str, object]:
    """Offer to put a thing away or, when it is ``archived``, to take it out again."""
    if archived:
        return post_button(context, f"{url}?back", "Take out again")
    return post_button(context, url, "Put away")


# --- forms -------------------------------------------------------------------------------------


@register.simple_block_tag(takes_context=True)
def form_box(
    context: Context,
    content: str,
    form: BaseForm,
    submit: str = "Save",
    cancel: str = "",
    action: str = "",
    method: str = "post",
    guard: bool = True,
    id: str = "",  # noqa: A002  the name it has in HTML
) -> SafeString:
    """Wrap a form: token, what is wrong on top, its fields (or the content), the way out.

    ``guard`` asks before leaving with unsaved typing. Without content all fields are shown.
    """
    return _part(
        "form_box",
        content=_trimmed(content),
        form=form,
        submit=submit,
        cancel=cancel,
        action=action,
        method=method,
        guard=guard,
        id=id,
        csrf_token=context.get("csrf_token"),
    )


@register.inclusion_tag("coupage/parts/fields.html")
def fields(form: BaseForm, *names: str, legend: str = "", help: str = "") -> dict[str, object]:  # noqa: A002
    """Show some fields of a form together, under a legend."""
    return {"fields": [form[name] for name in names], "legend": legend, "help": help}


@register.inclusion_tag("coupage/parts/error_summary.html")
def error_summary(*forms: BaseForm) -> dict[str, object]:
    """List what is wrong in one or more forms, each line leading to its field."""
    return {
        "general": [str(e) for form in forms for e in form.non_field_errors()],
        "fields": [
            (form[name], str(error))
            for form in forms
            for name, errors in form.errors.items()
            if name != "__all__"
            for error in errors
        ],
    }


@register.inclusion_tag("coupage/parts/share_inputs.html")
def share_inputs(
    formset: BaseFormSet[Any],
    component: str = "component",
    share: str = "share",
    legend: str = "Proportions",
    help: str = "",  # noqa: A002
) -> dict[str, object]:
    """Show a formset of component and share with a running total and rows to add.

    ``component`` and ``share`` name the two fields of its forms; the share is in per cent.
    """

    def row(form: BaseForm) -> dict[str, object]:
        hidden = [f for f in form.visible_fields() if f.name not in {component, share, "DELETE"}]
        return {
            "component": form[component],
            "share": form[share],
            "more": hidden,
            "delete": form["DELETE"] if "DELETE" in form.fields else None,
            "hidden": form.hidden_fields(),
            "general": form.non_field_errors(),
        }

    return {
        "formset": formset,
        "rows": [row(form) for form in formset.forms],
        "blank": row(formset.empty_form),
        "legend": legend,
        "help": help,
    }


@register.filter
def unit_of(field: BoundField) -> str:
    """Return the unit that stands behind a field's box."""
    unit = getattr(field.field, "unit", "")
    return str(unit or field.field.widget.attrs.get("data-unit", ""))


@register.filter
def kind_of(field: BoundField) -> str:
    """Return what a field is to its layout: check, choices, or box."""
    kind = field.widget_type
    if kind in {"checkbox"}:
        return "check"
    return "choices" if field.use_fieldset else "box"


# --- lists -------------------------------------------------------------------------------------


@register.simple_block_tag
def listing(
    content: str,
    listing: Listing[Any],
    noun: str = "row",
    nouns: str = "",
    caption: str = "",
    search: str = "",
    empty_title: str = "",
    empty_text: str = "",
    empty_href: str = "",
    empty_action: str = "",
    id: str = "listing",  # noqa: A002
) -> SafeString:
    """Show a list: search, chips, count, table (the content: thead and tbody), pages.

    When nothing is there at all, an empty state says what to do next.
    """
    return _part(
        "listing",
        content=content,
        listing=listing,
        noun=noun,
        nouns=nouns or f"{noun}s",
        caption=caption or (nouns or f"{noun}s").capitalize(),
        search=search or f"Search {nouns or noun + 's'}",
        empty_title=empty_title or f"No {nouns or noun + 's'} yet",
        empty_text=empty_text,
        empty_href=empty_href,
        empty_action=empty_action,
        id=id,
    )


@register.inclusion_tag("coupage/parts/heading.html")
def heading(
    listing: Listing[Any],
    key: str,
    label: str,
    align: str = "",
    id: str = "listing",  # noqa: A002
) -> dict[str, object]:
    """Head a column; it sorts when the listing knows ``key``. ``align="end"`` for numbers."""
    sortable = key in listing.sorts
    return {
        "label": label,
        "align": align,
        "url": listing.sort_url(key) if sortable else "",
        "direction": listing.direction(key) if sortable else "",
        "id": id,
    }


def _trimmed(content: str) -> SafeString:
    # What stood in the block was escaped where it was written; stripping must not undo the mark.
    return mark_safe(content.strip())  # noqa: S308


def _part(name: str, **context: object) -> SafeString:
    return render_to_string(f"coupage/parts/{name}.html", context)
