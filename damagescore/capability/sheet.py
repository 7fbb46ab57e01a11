"""The check target: a printable sheet of lines, gaps, areas and steps of known size."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from damagescore.scale.cards import Box, check_line, square

WIDTH, HEIGHT = 110.0, 67.0
"""Size of the target, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A black stroke with square ends, from (x, y) to (x2, y2), mm from the lower left."""

    name: str
    x: float
    y: float
    x2: float
    y2: float
    width: float

    @property
    def length(self) -> float:
        return float(((self.x2 - self.x) ** 2 + (self.y2 - self.y) ** 2) ** 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A black rectangle, mm; the lower left corner and its size."""

    name: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Staircase:
    """A black bar whose upper border rises by steps, mm.

    `steps` are the heights above the first tread; each tread is `tread` wide.
    """

    name: str
    x: float
    y: float
    height: float
    tread: float
    steps: tuple[float, ...]


LINES = (
    Line(name="line 30 x 0.3 mm", x=8, y=42, x2=38, y2=42, width=0.3),
    Line(name="line 20 x 0.2 mm", x=8, y=38.5, x2=28, y2=38.5, width=0.2),
    Line(name="line 10 x 0.25 mm", x=8, y=35, x2=18, y2=35, width=0.25),
    Line(name="line 12 x 0.3 mm, sloped", x=46, y=35, x2=54.485281, y2=43.485281, width=0.3),
    Line(name="line 6 x 0.2 mm, upright", x=62, y=36, x2=62, y2=42, width=0.2),
)

GAPS = (
    (Patch(name="left of 0.5", x=8, y=20, width=6, height=8),
     Patch(name="gap 0.5 mm", x=14.5, y=20, width=6, height=8)),
    (Patch(name="left of 0.2", x=26, y=20, width=6, height=8),
     Patch(name="gap 0.2 mm", x=32.2, y=20, width=6, height=8)),
)  # fmt: skip

AREAS = (
    Patch(name="area 8 x 6 mm", x=46, y=21, width=8, height=6),
    Patch(name="area 3 x 3 mm", x=59, y=22.5, width=3, height=3),
)

STAIRS = Staircase(name="step", x=68, y=20, height=6, tread=8, steps=(0.0, 0.5, 0.7, 0.8))
"""Steps of 0.5, 0.2 and 0.1 mm."""

FIELD = (5.0, 32.0, 67.0, 47.0)
"""Where the lines are: left, bottom, right, top, mm."""


def write_target(folder: Path) -> Path:
    """Write the check target at true size on one A4 page; return the PDF."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "check_target.pdf"
    canvas = Canvas(str(path), pagesize=(210 * mm, 297 * mm), invariant=1)
    canvas.setTitle("Check target")
    canvas.setFont("Helvetica-Bold", 15)
    canvas.drawString(20 * mm, 275 * mm, "Check target")
    canvas.setFont("Helvetica", 10)
    for k, line in enumerate(ADVICE):
        canvas.drawString(20 * mm, (267 - 5.5 * k) * mm, line)
    canvas.translate(30 * mm, (228 - HEIGHT) * mm)
    draw(canvas)
    canvas.save()
    return path


ADVICE = (
    'Print at 100 % ("actual size") on matt paper in the best quality. Measure the 100 mm line',
    "with a calliper and write the value down: the check asks for it. Glue the sheet to",
    "something flat and stiff. Photograph it as a part is photographed: same camera, distance",
    "and light. A print is no certified standard: it shows whether anything has changed, and",
    "whether lengths are right within the exactness of the print, about 0.05 mm.",
)


def draw(canvas: Canvas) -> None:
    """Draw the target with its lower left corner at the canvas's origin."""
    canvas.setLineWidth(0.15)
    canvas.setStrokeGray(0.6)
    canvas.rect(0, 0, WIDTH * mm, HEIGHT * mm)
    # Solid black only: a printer makes greys of dots, and dots have no sharp border.
    canvas.setFillGray(0)
    for box in _boxes():
        canvas.rect(box.x * mm, box.y * mm, box.width * mm, box.height * mm, stroke=0, fill=1)
    canvas.setStrokeGray(0)
    for line in LINES:
        canvas.setLineWidth(line.width * mm)
        canvas.line(line.x * mm, line.y * mm, line.x2 * mm, line.y2 * mm)
    for words in check_line(5, 5)[1]:
        canvas.setFont("Helvetica", words.size * mm)
        canvas.drawString(words.x * mm, words.y * mm, words.text)


def _boxes() -> Iterator[Box]:
    for number, place in SQUARE_PLACES.items():
        yield from square(number, *place)
    yield from check_line(5, 5)[0]
    for patch in (*(p for gap in GAPS for p in gap), *AREAS):
        yield Box(x=patch.x, y=patch.y, width=patch.width, height=patch.height)
    for k, step in enumerate(STAIRS.steps):
        yield Box(x=STAIRS.x + k * STAIRS.tread, y=STAIRS.y, width=STAIRS.tread,
                  height=STAIRS.height + step)  # fmt: skip


SIDE = 10.0
"""Of the squares, mm."""

SQUARE_PLACES = {40: (6.0, 51.0), 41: (94.0, 51.0)}
"""Lower left corners of the scale squares, mm."""
