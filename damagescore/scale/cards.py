"""Printable scale cards at true size, PDF and SVG, with a line to check by calliper."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

import cv2
import numpy as np
from numpy.typing import NDArray
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from damagescore.runs import runs_of_true
from damagescore.scale.board import FACTS, black_cells
from damagescore.scale.squares import CELLS, FAMILIES

FAMILY = "aruco_4x4_50"

OWN_SIDES_MM = {40: 10.0, 41: 10.0, 42: 5.0, 43: 5.0}
"""Side of each square of the project's own cards, by its number."""

CHECK_LINE_MM = 100.0
UPRIGHT_LINE_MM = 80.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A filled rectangle, mm from the card's lower left corner."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A line of text, its left end, mm; size is its height in mm."""

    x: float
    y: float
    size: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One card: what is printed black, discs as (x, y, radius) and words, all in mm."""

    name: str
    width: float
    height: float
    boxes: tuple[Box, ...]
    discs: tuple[tuple[float, float, float], ...] = ()
    words: tuple[Words, ...] = ()


def cards() -> tuple[Card, ...]:
    """The cards: a strip with two 10 mm squares, a small one with 5 mm squares, dots."""
    return (_strip(), _small(), _dots())


def board_card() -> Card:
    """The board by which a camera is calibrated, with a line to check on two sides."""
    cells, cell = black_cells()
    left, low = 8.0, 19.0
    width, height = cells.shape[1] * cell, cells.shape[0] * cell
    board = tuple(
        Box(x=left + x * cell, y=low + height - (y + 1) * cell, width=n * cell, height=cell)
        for y, x, n in _runs(cells)
    )
    line, words = check_line(left, 11)
    side = left + width + 9
    upright = (
        Box(x=side - 0.1, y=low, width=0.2, height=UPRIGHT_LINE_MM),
        Box(x=side - 2, y=low, width=4, height=0.2),
        Box(x=side - 2, y=low + UPRIGHT_LINE_MM - 0.2, width=4, height=0.2),
    )
    facts = tuple(
        Words(x=left, y=5.2 - 2.7 * i, size=1.9, text=text) for i, text in enumerate(FACTS)
    )
    how = Words(x=left + CHECK_LINE_MM + 4, y=11.8, size=1.9, text="upright line: 80.0 mm")
    return Card(
        name="board_camera", width=width + 24, height=low + height + 8,
        boxes=(*board, *line, *upright), words=(*words, how, *facts),
    )  # fmt: skip


def write_cards(folder: Path) -> tuple[Path, ...]:
    """Write every card as SVG, all cards on one A4 page as PDF, and the board likewise.

    Returns
    -------
    tuple of Path
        The files written: the PDF of the cards first.
    """
    folder.mkdir(parents=True, exist_ok=True)
    page, board_page = folder / "scale_cards.pdf", folder / "camera_board.pdf"
    _write_pdf(page, "Scale cards", ADVICE, cards())
    _write_pdf(board_page, "Board for calibrating a camera", BOARD_ADVICE, (board_card(),))
    written = [page, board_page]
    for card in (*cards(), board_card()):
        path = folder / f"{card.name}.svg"
        path.write_text(_svg(card), encoding="utf-8")
        written.append(path)
    return tuple(written)


def square(number: int, x: float, y: float) -> Iterator[Box]:
    """The black cells of one square whose lower left corner lies at (x, y)."""
    cells, side = CELLS[FAMILY], OWN_SIDES_MM[number]
    dictionary = cv2.aruco.getPredefinedDictionary(FAMILIES[FAMILY])
    pattern = np.asarray(cv2.aruco.generateImageMarker(dictionary, number, cells)) < 128
    cell = side / cells
    for row, start, run in _runs(pattern):
        top = y + side - row * cell
        yield Box(x=x + start * cell, y=top - cell, width=run * cell, height=cell)


def _runs(black: NDArray[np.bool_]) -> Iterator[tuple[int, int, int]]:
    """Row, first column and length of each run of black cells.

    A run becomes one box, so that no hairline shows between its cells.
    """
    for row, cells in enumerate(black):
        for start, end in runs_of_true(cells):
            yield row, start, end - start


def check_line(x: float, y: float) -> tuple[tuple[Box, ...], tuple[Words, ...]]:
    """A line of 100 mm from (x, y), and what to do with it."""
    boxes = (
        Box(x=x, y=y - 0.1, width=CHECK_LINE_MM, height=0.2),
        Box(x=x, y=y - 2, width=0.2, height=4),
        Box(x=x + CHECK_LINE_MM - 0.2, y=y - 2, width=0.2, height=4),
    )
    text = "outer edges of the end strokes: 100.0 mm by calliper, or do not use"
    return boxes, (Words(x=x + 2, y=y + 0.8, size=1.9, text=text),)


def _strip() -> Card:
    line, words = check_line(5, 5)
    boxes = (*square(40, 6, 11), *square(41, 94, 11), *line, *_centimetres(30, 11))
    title = Words(x=30, y=18.5, size=2.4, text="scale strip  squares 40 and 41, side 10 mm")
    return Card(
        name="card_strip_10mm", width=110, height=25, boxes=boxes, words=(title, *words)
    )


def _centimetres(x: float, y: float) -> Iterator[Box]:
    for i in range(51):
        height = 4.5 if i % 10 == 0 else 3.5 if i % 5 == 0 else 2.5
        yield Box(x=x + i - 0.075, y=y, width=0.15, height=height)


def _small() -> Card:
    boxes = (*square(42, 3, 3), *square(43, 32, 3))
    words = (
        Words(x=10, y=6, size=1.9, text="squares 42 and 43"),
        Words(x=10, y=3.4, size=1.9, text="side 5 mm"),
    )
    return Card(name="card_small_5mm", width=40, height=11, boxes=boxes, words=words)


def _dots() -> Card:
    words = (Words(x=14, y=6, size=1.9, text="dots, centres 40 mm apart"),)
    discs = ((7.0, 7.0, 3.0), (47.0, 7.0, 3.0))
    return Card(name="card_dots_40mm", width=54, height=14, boxes=(), discs=discs, words=words)


def _write_pdf(
    path: Path, title: str, advice: tuple[str, ...], shown: tuple[Card, ...]
) -> None:
    canvas = Canvas(str(path), pagesize=(210 * mm, 297 * mm), invariant=1)
    canvas.setTitle(title)
    canvas.setFont("Helvetica-Bold", 15)
    canvas.drawString(20 * mm, 275 * mm, title)
    canvas.setFont("Helvetica", 10)
    for i, line in enumerate(advice):
        canvas.drawString(20 * mm, (267 - 5.5 * i) * mm, line)
    top = 252.0 - 5.5 * len(advice)
    for card in shown:
        _draw(canvas, card, 20.0, top - card.height)
        top -= card.height + 12
    canvas.save()


BOARD_ADVICE = (
    'Print at 100 % ("actual size"), matt paper, no page fitting. Check both lines with a',
    "calliper: within 0.2 mm, or give the measured side of a square when calibrating.",
    "Glue the board to something flat and stiff. Set zoom and focus as for the rubber, and",
    "leave them. Take 8 to 15 sharp photos: the board large, brought into every corner of the",
    "photo, and tilted by 20 to 40 degrees to each side in turn.",
)

ADVICE = (
    'Print at 100 % ("actual size"), matt paper, no page fitting. Check the 100 mm line with a',
    "calliper: within 0.2 mm, or do not use the print. Glue to a flat, stiff strip, cut out.",
    "Hold the card flat in the plane of the rubber edge, beside it and not on it.",
    "A mark nearer to the camera than the rubber makes every length read short.",
)


def _draw(canvas: Canvas, card: Card, x: float, y: float) -> None:
    canvas.setLineWidth(0.15)
    canvas.setStrokeGray(0.6)
    canvas.rect(x * mm, y * mm, card.width * mm, card.height * mm)
    canvas.setFillGray(0)
    for box in card.boxes:
        canvas.rect((x + box.x) * mm, (y + box.y) * mm, box.width * mm, box.height * mm,
                    stroke=0, fill=1)  # fmt: skip
    for cx, cy, radius in card.discs:
        canvas.circle((x + cx) * mm, (y + cy) * mm, radius * mm, stroke=0, fill=1)
    for words in card.words:
        canvas.setFont("Helvetica", words.size * mm)
        canvas.drawString((x + words.x) * mm, (y + words.y) * mm, words.text)


def _svg(card: Card) -> str:
    w, h = card.width, card.height
    rows = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm"',
        f' viewBox="0 0 {w} {h}">',
        f'<rect x="0.05" y="0.05" width="{w - 0.1}" height="{h - 0.1}" fill="#fff"',
        ' stroke="#999" stroke-width="0.05"/>',
    ]
    rows += [_svg_box(b, h) for b in card.boxes]
    rows += [f'<circle cx="{x}" cy="{h - y}" r="{r}"/>' for x, y, r in card.discs]
    rows += [_svg_words(t, h) for t in card.words]
    return "\n".join([*rows, "</svg>\n"])


def _svg_box(box: Box, height: float) -> str:
    y = height - box.y - box.height
    size = f'width="{box.width:.4f}" height="{box.height:.4f}"'
    return f'<rect x="{box.x:.4f}" y="{y:.4f}" {size}/>'


def _svg_words(words: Words, height: float) -> str:
    place = f'x="{words.x}" y="{height - words.y}" font-size="{words.size}"'
    return f'<text {place} font-family="sans-serif">{escape(words.text)}</text>'
