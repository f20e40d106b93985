"""A recall on paper and as a table: who received what, what is still here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from io import BytesIO
from typing import Any

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle, getSampleStyleSheet
from reportlab.lib.units import mm
from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from coupage.sheets import Column, Layout
from coupage.units import MassUnit, show_mass
from coupage.web.common.cautions import DEFERRAL
from coupage.web.common.dates import day_text
from coupage.web.common.doors import kilograms
from coupage.web.production.recall import Recall

__all__ = ["recall_layout", "recall_pdf", "recall_rows"]

INK, SOFT, RULE = colors.HexColor("#1d2224"), colors.HexColor("#4d5553"), colors.HexColor("#6b7169")
_STYLES = getSampleStyleSheet()
_TEXT = ParagraphStyle("text", parent=_STYLES["BodyText"], fontSize=9.5, leading=12, textColor=INK)
_SMALL = ParagraphStyle("small", parent=_TEXT, fontSize=8, leading=10, textColor=SOFT)
_TITLE = ParagraphStyle("title", parent=_STYLES["Title"], fontSize=18, leading=22, alignment=0)
_HEAD = ParagraphStyle("head", parent=_STYLES["Heading2"], fontSize=12, leading=15, spaceBefore=10)


def recall_layout() -> Layout:
    return Layout(
        "recall",
        (
            Column("where", "choice", choices=("received", "still here")),
            Column("who", "text", required=False, default=""),
            Column("what", "text"),
            Column("lot code", "text", required=False, default=""),
            Column("bag", "number", required=False, unit="g"),
            Column("bags", "integer", required=False),
            Column("mass", "number", unit="kg"),
            Column("first sent", "date", required=False),
            Column("last sent", "date", required=False),
        ),
        description="Who received what of a lot, and what is still here.",
    )


def recall_rows(recall: Recall) -> Iterator[dict[str, object]]:
    """Give the rows of the table."""
    for row in recall.received:
        yield {
            "where": "received",
            "who": row.customer.name,
            "what": row.packed.pack.blend.name,
            "lot code": row.packed.run.lot_code,
            "bag": row.packed.pack.bag_g,
            "bags": row.bags,
            "mass": kilograms(row.mass_g),
            "first sent": dt.date.fromisoformat(row.first) if row.first else None,
            "last sent": dt.date.fromisoformat(row.last) if row.last else None,
        }
    for here in recall.here:
        yield {
            "where": "still here",
            "what": f"{here.what} {here.detail}".strip(),
            "lot code": here.name,
            "mass": kilograms(here.mass_g),
        }


def recall_pdf(recall: Recall, *, roastery: str, by: str, at: dt.datetime, unit: MassUnit) -> bytes:
    """Write the report that goes to an inspector or into the file."""
    buffer = BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=A4,
        leftMargin=16 * mm,
        rightMargin=16 * mm,
        topMargin=16 * mm,
        bottomMargin=16 * mm,
        title=f"Recall report, {recall.name}",
        author=roastery,
        invariant=True,
    )
    story = [
        Paragraph(_safe(f"Recall report: {recall.name}"), _TITLE),
        Paragraph(_safe(f"{roastery}. Drawn up {day_text(at)} {at:%H:%M} by {by}."), _TEXT),
        Spacer(1, 4 * mm),
        Paragraph(_safe(_sentence(recall, unit)), _TEXT),
        *_section("Who received it", _received(recall, unit), "Nobody outside the roastery."),
        *_section("Still here", _here(recall, unit), "Nothing is left."),
        *_section("The way it took", _way(recall, unit), "It went nowhere yet."),
        Spacer(1, 4 * mm),
        Paragraph(
            _safe(
                "One step back and one step forward: Regulation (EC) 178/2002, Article 18. Whether "
                "the authority and the public must be told is decided by the food business and its "
                f"authority, not by this report. {DEFERRAL}"
            ),
            _SMALL,
        ),
        Spacer(1, 10 * mm),
        Paragraph("Date ______________________ Signed ______________________________", _TEXT),
    ]
    document.build(story, onFirstPage=_page(recall), onLaterPages=_page(recall))
    return buffer.getvalue()


def _sentence(recall: Recall, unit: MassUnit) -> str:
    out = show_mass(recall.grams_out, unit)
    here = show_mass(recall.grams_here, unit)
    bags = f"{recall.bags_out} {'bag' if recall.bags_out == 1 else 'bags'}"
    who = f"{recall.receivers} {'customer' if recall.receivers == 1 else 'customers'}"
    return f"{bags} ({out}) are with {who}; {here} are still here."


def _page(recall: Recall) -> Any:
    def draw(canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont("Helvetica", 8)
        canvas.setFillColor(SOFT)
        canvas.drawString(16 * mm, 9 * mm, f"Recall report, {recall.name}")
        canvas.drawRightString(A4[0] - 16 * mm, 9 * mm, f"page {document.page}")
        canvas.restoreState()

    return draw


def _section(title: str, rows: list[list[Any]], nothing: str) -> list[Any]:
    head = Paragraph(title, _HEAD)
    if len(rows) == 1:
        return [head, Paragraph(nothing, _TEXT)]
    widths = {4: (52, 70, 24, 32), 5: (50, 52, 18, 24, 34)}[len(rows[0])]
    table = Table(rows, colWidths=[w * mm for w in widths], repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("FONTSIZE", (0, 0), (-1, -1), 9),
                ("FONTNAME", (0, 0), (-1, 0), "Helvetica-Bold"),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.25, RULE),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("ALIGN", (2, 0), (-2 if len(rows[0]) == 5 else -1, -1), "RIGHT"),
            ]
        )
    )
    return [head, table]


def _cell(text: str) -> Paragraph:
    return Paragraph(_safe(text), _TEXT)


def _safe(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _received(recall: Recall, unit: MassUnit) -> list[list[Any]]:
    rows: list[list[Any]] = [["Customer", "What", "Bags", "Mass", "Sent"]]
    for row in recall.received:
        pack = row.packed.pack
        rows.append(
            [
                _cell(row.customer.name),
                _cell(f"{pack.blend.name} {pack.size}, lot {row.packed.run.lot_code}"),
                str(row.bags),
                show_mass(row.mass_g, unit),
                _cell(row.days),
            ]
        )
    return rows


def _here(recall: Recall, unit: MassUnit) -> list[list[Any]]:
    rows: list[list[Any]] = [["What", "Which", "", "Mass"]]
    for here in recall.here:
        which = f"{here.name} {here.detail}".strip()
        rows.append([_cell(here.what), _cell(which), "", show_mass(here.mass_g, unit, 3)])
    return rows


def _way(recall: Recall, unit: MassUnit) -> list[list[Any]]:
    rows: list[list[Any]] = [["From", "Into", "", "How much"]]
    order = {"lot": 0, "batch": 1, "run": 2}
    for e in sorted(recall.edges, key=lambda e: (order.get(e.kind, 3), e.key, e.into_key)):
        if e.kind not in order or e.into_kind == "bags":
            continue
        source = {
            "lot": lambda k: f"Lot {recall.lots[k].name}" if k in recall.lots else "",
            "batch": lambda k: str(recall.batches[k]),
            "run": lambda k: f"{recall.runs[k]} (left over)",
        }[e.kind](e.key)
        into = recall.batches[e.into_key] if e.into_kind == "batch" else recall.runs[e.into_key]
        rows.append([_cell(source), _cell(str(into)), "", show_mass(e.amount, unit, 3)])
    return rows
