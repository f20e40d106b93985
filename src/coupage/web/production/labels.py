"""Labels for bags and boxes: what must stand on them, in words and in a QR code."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import segno
from django.utils.safestring import SafeString, mark_safe

from coupage.web.production.gs1 import digital_link, element_string
from coupage.web.production.models import Pack, PackingRules, Run

__all__ = ["Label", "label_of", "qr_svg"]


@dataclass(frozen=True, slots=True)
class Label:
    """One label. Dates stand in day, month, year order, not in code (Directive 2011/91/EU)."""

    blend: str
    content: str
    lot: str
    best_before: str
    elements: str
    qr: SafeString
    qr_holds: str
    is_box: bool

    @property
    def parts(self) -> list[str]:
        """Return the element string cut where a line may end."""
        return re.findall(r"\(\d{2}\)[^(]*", self.elements)


def day_month_year(day: dt.date) -> str:
    return f"{day:%d.%m.%Y}"


def label_of(run: Run, pack: Pack, rules: PackingRules, *, box: bool) -> Label:
    """Make the label of one bag of a run, or of a box of them.

    The QR code holds a web address of the Digital Link kind where there are a GTIN and an own
    address, else the element string, else the lot code: plain text, which any scanner reads.
    """
    gtin = pack.box_gtin if box else pack.gtin
    elements = element_string(
        lot=run.lot_code, gtin=gtin, packed_on=run.on, best_before=run.best_before
    )
    if gtin and rules.link_base:
        held = digital_link(
            rules.link_base, gtin=gtin, lot=run.lot_code, best_before=run.best_before
        )
    else:
        held = elements or run.lot_code
    content = f"{pack.per_box or 1} × {pack.size}" if box else pack.size
    return Label(
        blend=pack.blend.name,
        content=content,
        lot=f"L {run.lot_code}" if rules.letter_l else run.lot_code,
        best_before=day_month_year(run.best_before),
        elements=elements,
        qr=qr_svg(held),
        qr_holds=held,
        is_box=box,
    )


def qr_svg(text: str) -> SafeString:
    """Draw a QR code (ISO/IEC 18004), error correction M, quiet zone of four modules included."""
    code = segno.make_qr(text, error="m")
    drawn = code.svg_inline(border=4, omitsize=True, svgclass="qr", lineclass=None, light="#fff")
    return mark_safe(drawn)  # noqa: S308 - drawn by the library from modules, the text is not in it
