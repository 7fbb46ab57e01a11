"""Paragraph and table styles of the report: plain, calm, fit for black and white."""

from collections.abc import Mapping, Sequence
from typing import Any

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Table, TableStyle

from damagescore.report.fonts import BOLD, PLAIN, markup

PAGE_WIDTH, PAGE_HEIGHT = A4
MARGIN = 15 * mm
BODY_WIDTH = PAGE_WIDTH - 2 * MARGIN

INK = colors.HexColor("#1c2126")
FAINT = colors.HexColor("#5b636b")
RULE = colors.HexColor("#aab1b8")
PALE = colors.HexColor("#eef0f2")


def _style(name: str, **settings: Any) -> ParagraphStyle:
    base = {"fontName": PLAIN, "fontSize": 8.5, "leading": 11.5, "textColor": INK}
    # Long words are split, so that a name of 200 letters stays in its column.
    return ParagraphStyle(name, **{**base, "splitLongWords": 1, **settings})


STYLES: Mapping[str, ParagraphStyle] = {
    "title": _style("title", fontName=BOLD, fontSize=19, leading=24),
    "subtitle": _style("subtitle", fontSize=9, textColor=FAINT),
    "heading": _style(
        "heading",
        fontName=BOLD,
        fontSize=11.5,
        leading=15,
        spaceBefore=11,
        spaceAfter=4,
        keepWithNext=1,
    ),
    "small_heading": _style(
        "small_heading", fontName=BOLD, fontSize=9, spaceBefore=6, spaceAfter=2, keepWithNext=1
    ),
    "text": _style("text"),
    "note": _style("note", fontSize=7.5, leading=10, textColor=FAINT),
    "cell": _style("cell", fontSize=7.5, leading=9.6),
    "head": _style("head", fontName=BOLD, fontSize=7.5, leading=9.6),
    "outcome": _style("outcome", fontName=BOLD, fontSize=20, leading=25),
    "score": _style("score", fontName=BOLD, fontSize=20, leading=25, alignment=2),
    "right": _style("right", fontSize=8, leading=10.5, alignment=2),
}


def text(content: object, style: str = "text", *, most: int = 2000) -> Paragraph:
    """Make a paragraph of the user's or the program's text; markup in it is harmless."""
    return Paragraph(markup(content, most=most), STYLES[style])


def grid(
    head: Sequence[str], rows: Sequence[Sequence[object]], *, widths: Sequence[float]
) -> Table:
    """Make a table with a repeated head row; `widths` are shares of the body width."""
    total = sum(widths)
    cells = [[text(h, "head") for h in head]]
    cells += [[_cell(c) for c in row] for row in rows]
    table = Table(
        cells,
        colWidths=[BODY_WIDTH * w / total for w in widths],
        repeatRows=1,
        splitInRow=1,
        hAlign="LEFT",
    )
    table.setStyle(
        TableStyle([
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
            ("LINEBELOW", (0, 1), (-1, -1), 0.3, RULE),
            ("BACKGROUND", (0, 0), (-1, 0), PALE),
            *_padding(2.5),
        ])
    )  # fmt: skip
    return table


def pairs(rows: Sequence[tuple[str, object]], *, columns: int = 2) -> Table:
    """Make a table of names and values, in one or two pairs of columns."""
    lines = [list(rows[i : i + columns]) for i in range(0, len(rows), columns)]
    cells = []
    for line in lines:
        filled = [*line, *[("", "")] * (columns - len(line))]
        cells.append([c for n, v in filled for c in (text(n, "head"), _cell(v))])
    name_width = 30 * mm
    value_width = BODY_WIDTH / columns - name_width
    table = Table(
        cells, colWidths=[name_width, value_width] * columns, splitInRow=1, hAlign="LEFT"
    )
    table.setStyle(
        TableStyle([
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 0.3, RULE),
            *_padding(2.5),
        ])
    )  # fmt: skip
    return table


def _cell(content: object) -> object:
    if isinstance(content, Flowable | list):
        return content
    return text(content, "cell")


def _padding(points: float) -> list[tuple[Any, ...]]:
    sides = ("TOPPADDING", "BOTTOMPADDING", "LEFTPADDING", "RIGHTPADDING")
    return [(side, (0, 0), (-1, -1), points) for side in sides]
