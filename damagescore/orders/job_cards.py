"""Job cards: a QR code that names the part beside the squares of the scale card, to print."""

from collections.abc import Iterable, Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from damagescore.orders.codes import JobCode, encode
from damagescore.orders.file_names import plain_name
from damagescore.orders.record import Order, OrderPart
from damagescore.report.fonts import BOLD, PLAIN, drawable, register
from damagescore.runs import runs_of_true
from damagescore.scale.cards import CHECK_LINE_MM, Box, check_line, square

WIDTH_MM, HEIGHT_MM = 70.0, 24.0
CODE_MM = 18.0
QUIET_MODULES = 4
"""White modules round a code (ISO/IEC 18004, quiet zone)."""

CARDS_ON_PAGE = 6

ADVICE = (
    'Print at 100 % ("actual size") on matt paper. Check the line below with a calliper,',
    "then cut the cards out and glue them to something flat and stiff. Hold a card flat in the",
    "plane of the rubber edge, beside it and not on it; on a round edge where it says.",
)


def code_modules(text: str) -> NDArray[np.bool_]:
    """Modules of a QR code without its quiet zone, True is black; shape (N, N)."""
    settings = cv2.QRCodeEncoder.Params()
    settings.correction_level = cv2.QRCODE_ENCODER_CORRECT_LEVEL_M
    black = np.asarray(cv2.QRCodeEncoder.create(settings).encode(text)) < 128
    rows, columns = np.flatnonzero(black.any(axis=1)), np.flatnonzero(black.any(axis=0))
    return np.asarray(black[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1])


def codes_of(order: Order, part: OrderPart) -> tuple[JobCode, ...]:
    """One code for each clock position of a part, or one without a position."""
    places: tuple[float | None, ...] = part.clock_hours or (None,)
    return tuple(
        JobCode(
            order=order.number, part_number=part.part.part_number,
            serial_number=part.part.serial_number, clock_hours=hours,
        )
        for hours in places
    )  # fmt: skip


def write_job_cards(order: Order, folder: Path) -> tuple[Path, ...]:
    """Write one PDF file per part: a page with its cards and a line to check by calliper.

    Returns
    -------
    tuple of Path
        In the order of the parts.
    """
    folder.mkdir(parents=True, exist_ok=True)
    register()
    written = []
    for number, part in enumerate(order.parts, start=1):
        name = f"{number:03d}_{plain_name(part.key)}.pdf"
        canvas = Canvas(str(folder / name), pagesize=(210 * mm, 297 * mm), invariant=1)
        canvas.setTitle(drawable(f"Job cards {order.number} {part.key}", most=120))
        draw_pages(canvas, order, part)
        canvas.save()
        written.append(folder / name)
    return tuple(written)


def draw_pages(canvas: Canvas, order: Order, part: OrderPart) -> None:
    """Draw the pages of one part."""
    codes = codes_of(order, part)
    for start in range(0, len(codes), CARDS_ON_PAGE):
        _page(canvas, order, part, codes[start : start + CARDS_ON_PAGE])
        canvas.showPage()


def _page(canvas: Canvas, order: Order, part: OrderPart, codes: Iterable[JobCode]) -> None:
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 15)
    canvas.drawString(20 * mm, 275 * mm, drawable(f"Job card {order.number}", most=60))
    canvas.setFont(PLAIN, 11)
    canvas.drawString(20 * mm, 268 * mm, drawable(f"Part {_named(part)}", most=80))
    canvas.setFont(PLAIN, 9)
    for i, words in enumerate(ADVICE):
        canvas.drawString(20 * mm, (260 - 4.6 * i) * mm, words)
    _check_line(canvas, 20.0, 238.0)
    top = 228.0
    for code in codes:
        _card(canvas, code, x=20.0, y=top - HEIGHT_MM)
        top -= HEIGHT_MM + 9


def _named(part: OrderPart) -> str:
    return f"{part.part.part_number or 'without number'}, serial {part.part.serial_number}"


def _check_line(canvas: Canvas, x: float, y: float) -> None:
    boxes, words = check_line(x, y)
    _fill(canvas, boxes)
    for line in words:
        canvas.setFont(PLAIN, line.size * mm)
        canvas.drawString(line.x * mm, line.y * mm, line.text)


def _card(canvas: Canvas, code: JobCode, *, x: float, y: float) -> None:
    canvas.setLineWidth(0.15)
    canvas.setStrokeGray(0.6)
    canvas.rect(x * mm, y * mm, WIDTH_MM * mm, HEIGHT_MM * mm)
    canvas.setFillGray(0)
    _fill(canvas, square(40, x + 4, y + 10))
    _fill(canvas, square(41, x + WIDTH_MM - 14, y + 10))
    _fill(canvas, _code_boxes(encode(code), x + (WIDTH_MM - CODE_MM) / 2, y + 3))
    lines = [code.part_number, code.serial_number]
    for i, words in enumerate(lines):
        _small(canvas, words, x + 1.5, y + 6.2 - 3 * i)
    right = [code.order, clock_words(code.clock_hours)]
    for i, words in enumerate(right):
        _small(canvas, words, x + WIDTH_MM - 22.5, y + 6.2 - 3 * i)


def clock_words(hours: float | None) -> str:
    """A clock position in words: "4:30 o'clock"; empty for none."""
    if hours is None:
        return ""
    whole, minutes = divmod(round((hours % 12 or 12) * 60), 60)
    return f"{whole}{f':{minutes:02d}' if minutes else ''} o'clock"


def _small(canvas: Canvas, words: str, x: float, y: float) -> None:
    """Words of at most 21 mm beside the code."""
    shown, size = drawable(words, most=40), 2.2 * mm
    while canvas.stringWidth(shown, PLAIN, size) > 21 * mm:
        size *= 0.9
    canvas.setFont(PLAIN, size)
    canvas.drawString(x * mm, y * mm, shown)


def _code_boxes(text: str, x: float, y: float) -> Iterator[Box]:
    """Black runs of a code, its quiet zone within the 18 mm."""
    modules = code_modules(text)
    module = CODE_MM / (len(modules) + 2 * QUIET_MODULES)
    for row, black in enumerate(modules):
        top = y + CODE_MM - (row + QUIET_MODULES) * module
        for start, stop in runs_of_true(black):
            left = x + (start + QUIET_MODULES) * module
            # A touch higher than a module, so that no hairline shows between rows.
            yield Box(
                x=left, y=top - module, width=(stop - start) * module, height=module * 1.01
            )


def _fill(canvas: Canvas, boxes: Iterable[Box]) -> None:
    for box in boxes:
        canvas.rect(box.x * mm, box.y * mm, box.width * mm, box.height * mm, stroke=0, fill=1)


__all__ = ["CHECK_LINE_MM", "clock_words", "code_modules", "codes_of", "write_job_cards"]
