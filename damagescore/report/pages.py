"""Page frame of the report: header, footer, page x of y, marks on every page."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from damagescore.report.fonts import BOLD, PLAIN, drawable, register
from damagescore.report.look import (
    BODY_WIDTH,
    FAINT,
    INK,
    MARGIN,
    PAGE_HEIGHT,
    PAGE_WIDTH,
    RULE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFacts:
    """What stands on every page.

    Parameters
    ----------
    subject : str
        Part and serial number.
    mark : str
        "NOT SIGNED", or who signed and when.
    banner : str
        A warning over the whole width; empty for none.
    document : str
        What kind of paper it is.
    """

    record_id: str
    subject: str
    mark: str
    banner: str
    software: str
    content_sha256: str
    document: str = "Record"


def build_pdf(story: Sequence[Flowable], facts: PageFacts) -> bytes:
    """Set the story on A4 pages and return the file's bytes.

    The same record gives the same bytes: no time of printing is written.
    """
    register()
    file = io.BytesIO()
    bottom, top = 20 * mm, 24 * mm if facts.banner else 18 * mm
    frame = Frame(
        MARGIN, bottom, BODY_WIDTH, PAGE_HEIGHT - bottom - top,
        leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
    )  # fmt: skip
    document = BaseDocTemplate(
        file,
        pagesize=(PAGE_WIDTH, PAGE_HEIGHT),
        title=drawable(_title(facts), most=200),
        subject=drawable(facts.subject, most=200),
        author="",
        creator=facts.software,
        lang="en",
        invariant=1,
    )
    document.addPageTemplates([PageTemplate(frames=[frame])])
    document.build(list(story), canvasmaker=_canvas_maker(facts))
    return file.getvalue()


def _title(facts: PageFacts) -> str:
    kind = "Inspection record" if facts.document == "Record" else facts.document
    return f"{kind} {facts.record_id}"


def _canvas_maker(facts: PageFacts) -> Any:
    class CountedCanvas(Canvas):  # type: ignore[misc]
        """Holds the pages back until their number is known."""

        def __init__(self, *arguments: Any, **settings: Any) -> None:
            super().__init__(*arguments, **settings)
            self._held: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 - the library's name
            self._held.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, page in enumerate(self._held, start=1):
                self.__dict__.update(page)
                _draw_frame(self, facts, number=number, count=len(self._held))
                super().showPage()
            super().save()

    return CountedCanvas


def _draw_frame(canvas: Canvas, facts: PageFacts, *, number: int, count: int) -> None:
    _draw_header(canvas, facts)
    right = PAGE_WIDTH - MARGIN
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.5)
    canvas.line(MARGIN, 16 * mm, right, 16 * mm)
    canvas.setFillColor(FAINT)
    canvas.setFont(PLAIN, 7)
    record = _fitted(
        f"{facts.document} {facts.record_id}", PLAIN, size=7, width=BODY_WIDTH * 0.55
    )
    canvas.drawString(MARGIN, 12.3 * mm, record)
    canvas.drawCentredString(PAGE_WIDTH * 0.64, 12.3 * mm, drawable(facts.software, most=30))
    canvas.drawRightString(right, 12.3 * mm, f"Page {number} of {count}")
    canvas.setFont(PLAIN, 6)
    canvas.drawString(MARGIN, 9 * mm, f"Content SHA-256 {facts.content_sha256}")


def _draw_header(canvas: Canvas, facts: PageFacts) -> None:
    right, base = PAGE_WIDTH - MARGIN, PAGE_HEIGHT - 11 * mm
    canvas.setFillColor(INK)
    mark = _fitted(facts.mark, BOLD, size=8, width=BODY_WIDTH * 0.45)
    canvas.setFont(BOLD, 8)
    canvas.drawRightString(right, base, mark)
    room = BODY_WIDTH - stringWidth(mark, BOLD, 8) - 12
    canvas.setFont(PLAIN, 8)
    canvas.drawString(MARGIN, base, _fitted(facts.subject, PLAIN, size=8, width=room))
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.5)
    canvas.line(MARGIN, base - 4, right, base - 4)
    if facts.banner:
        canvas.setFillColor(INK)
        canvas.rect(MARGIN, base - 21, BODY_WIDTH, 14, stroke=0, fill=1)
        canvas.setFillColor(colors.white)
        canvas.setFont(BOLD, 8)
        banner = _fitted(facts.banner, BOLD, size=8, width=BODY_WIDTH - 8)
        canvas.drawCentredString(PAGE_WIDTH / 2, base - 16.8, banner)


def _fitted(words: str, font: str, *, size: float, width: float) -> str:
    """Cut text to a width, with an ellipsis."""
    shown = drawable(words, most=400)
    if stringWidth(shown, font, size) <= width:
        return shown
    while shown and stringWidth(f"{shown}…", font, size) > width:
        shown = shown[:-1]
    return f"{shown}…"
