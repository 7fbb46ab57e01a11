"""A map of a round edge: what was seen of it, and where its damage lies.

Looking down on the part from the side that is up in the photos, 12 o'clock on top. One ring
for each rubber layer, the lowest of the photos innermost. The PDF and the SVG draw the same.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from damagescore.around import Around, Damage
from damagescore.report.fonts import BOLD, PLAIN, drawable
from damagescore.report.marks import STYLES

INNER, OUTER = 0.5, 0.92
STEP_DEG = 2.0

Point = tuple[float, float]
Colour = tuple[int, int, int]

INK: Colour = (28, 33, 38)
FAINT: Colour = (91, 99, 107)
RULE: Colour = (170, 177, 184)
SEEN: Colour = (201, 222, 220)
PAPER: Colour = (255, 255, 255)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A line or an area; x right, y up, the outermost ring at a radius of 0.92.

    `width` is a line's, in the same unit; 0 draws none. `fill` is None for a line.
    """

    points: tuple[Point, ...]
    stroke: Colour = INK
    width: float = 0.0
    dash: tuple[float, ...] = ()
    fill: Colour | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Words whose middle lies at a point."""

    at: Point
    text: str
    size: float
    bold: bool = False


def map_shapes(around: Around) -> Iterator[Shape | Words]:
    """Give what is drawn, the lowest first."""
    rings = _rings(around)
    yield Shape(points=_arc(0, 360, OUTER), fill=PAPER)
    for layer, (low, high) in rings.items():
        for photo in around.photos:
            for start, extent in photo.arcs.get(layer, ()):
                yield Shape(points=_band(start, start + extent, low, high), fill=SEEN)
    yield Shape(points=_arc(0, 360, INNER), fill=PAPER)
    yield from _unseen(around)
    for radius in (*(low for low, _ in rings.values()), OUTER):
        yield Shape(points=_arc(0, 360, radius), stroke=RULE, width=0.004)
    for damage in around.damages:
        if damage.layer in rings:
            yield _damage(damage, *rings[damage.layer])
    yield from _clock(around)


def around_svg(around: Around) -> str:
    """Give the map as the text of an SVG file, on a pale ground of its own."""
    rows = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-1.2 -1.2 2.4 2.4" role="img"',
        f' aria-label="{escape(seen_words(around), {chr(34): "&quot;"})}">',
        '<rect x="-1.2" y="-1.2" width="2.4" height="2.4" rx="0.06" fill="#f7f8f6"/>',
    ]
    rows += [_svg(shape) for shape in map_shapes(around)]
    return "\n".join([*rows, "</svg>\n"])


class AroundFigure(Flowable):  # type: ignore[misc]
    """The map on a page, `size` points wide and high."""

    def __init__(self, around: Around, *, size: float) -> None:
        super().__init__()
        self.width = self.height = size
        self.hAlign = "LEFT"
        self._around = around

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas: Canvas = self.canv
        unit = self.width / 2.4
        canvas.saveState()
        canvas.translate(self.width / 2, self.height / 2)
        for shape in map_shapes(self._around):
            if isinstance(shape, Words):
                _draw_words(canvas, shape, unit)
            else:
                _draw_shape(canvas, shape, unit)
        canvas.restoreState()


def seen_words(around: Around) -> str:
    """What was seen, in one sentence, and what cannot be said."""
    if around.complete:
        return "All of the circumference was seen."
    return around.rest


def _rings(around: Around) -> Mapping[int, tuple[float, float]]:
    """Inner and outer radius of each layer's ring."""
    layers = around.layers or sorted({x for p in around.photos for x in p.layers})
    step = (OUTER - INNER) / max(len(layers), 1)
    return {x: (INNER + i * step, INNER + (i + 1) * step) for i, x in enumerate(layers)}


def _unseen(around: Around) -> Iterator[Shape]:
    """Radial strokes over what was not seen, so that a print in black and white says it."""
    for start, extent in around.unseen():
        n = max(1, round(extent / 4))
        for i in range(n):
            angle = start + extent * (i + 0.5) / n
            yield Shape(
                points=(_at(angle, INNER), _at(angle, OUTER)), stroke=RULE, width=0.006,
                dash=(0.02, 0.02),
            )  # fmt: skip


def _damage(damage: Damage, low: float, high: float) -> Shape:
    """A stroke along the middle of the ring, or along the bond line."""
    share = {"upper": 0.86, "lower": 0.14}.get(damage.side, 0.5)
    style = STYLES[damage.kind]
    thick = (high - low) * (0.6 if style.hatch else 0.35)
    start, extent = damage.arc
    spare = max(0.0, 1.2 - extent) / 2  # a short one stays visible
    points = _arc(start - spare, start + extent + spare, low + share * (high - low))
    dash = tuple(d * 0.004 for d in style.dash)
    return Shape(points=points, stroke=style.rgb, width=thick, dash=dash)


def _clock(around: Around) -> Iterator[Shape | Words]:
    for hour in range(1, 13):
        long = hour % 3 == 0
        ends = (_at(hour * 30, OUTER), _at(hour * 30, OUTER + (0.04 if long else 0.025)))
        yield Shape(points=ends, stroke=FAINT, width=0.006)
        if long:
            yield Words(at=_at(hour * 30, OUTER + 0.11), text=str(hour), size=0.085, bold=True)
    for photo in around.photos:
        at = photo.centre_deg
        tip = (_at(at, INNER - 0.02), _at(at - 4, INNER - 0.07), _at(at + 4, INNER - 0.07))
        yield Shape(points=tip, fill=INK if photo.usable else RULE)
        yield Words(at=_at(at, INNER - 0.13), text=str(photo.number), size=0.07)
    seen = f"{math.floor(around.seen_deg.value + 1e-6)}° of 360°"
    yield Words(at=(0.0, 0.04), text=seen, size=0.1, bold=True)
    yield Words(at=(0.0, -0.08), text="seen", size=0.075)


def _at(clock_deg: float, radius: float) -> Point:
    angle = math.radians(clock_deg)
    return radius * math.sin(angle), radius * math.cos(angle)


def _arc(start_deg: float, end_deg: float, radius: float) -> tuple[Point, ...]:
    n = max(1, math.ceil((end_deg - start_deg) / STEP_DEG))
    return tuple(_at(start_deg + (end_deg - start_deg) * i / n, radius) for i in range(n + 1))


def _band(start_deg: float, end_deg: float, low: float, high: float) -> tuple[Point, ...]:
    return (*_arc(start_deg, end_deg, high), *reversed(_arc(start_deg, end_deg, low)))


def _svg(shape: Shape | Words) -> str:
    if isinstance(shape, Words):
        weight = ' font-weight="700"' if shape.bold else ""
        return (
            f'<text x="{shape.at[0]:.4f}" y="{-shape.at[1]:.4f}" font-size="{shape.size}"'
            f' font-family="sans-serif" text-anchor="middle" dominant-baseline="central"'
            f'{weight} fill="{_hex(INK)}">{escape(shape.text)}</text>'
        )
    points = " ".join(f"{x:.4f},{-y:.4f}" for x, y in shape.points)
    if shape.fill is not None:
        return f'<polygon points="{points}" fill="{_hex(shape.fill)}"/>'
    dash = f' stroke-dasharray="{" ".join(f"{d:.4f}" for d in shape.dash)}"' * bool(shape.dash)
    return (
        f'<polyline points="{points}" fill="none" stroke="{_hex(shape.stroke)}"'
        f' stroke-width="{shape.width:.4f}"{dash}/>'
    )


def _hex(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _draw_shape(canvas: Canvas, shape: Shape, unit: float) -> None:
    path = canvas.beginPath()
    path.moveTo(*_scaled(shape.points[0], unit))
    for point in shape.points[1:]:
        path.lineTo(*_scaled(point, unit))
    if shape.fill is not None:
        path.close()
        canvas.setFillColor(_colour(shape.fill))
        canvas.drawPath(path, stroke=0, fill=1)
        return
    canvas.setStrokeColor(_colour(shape.stroke))
    canvas.setLineWidth(shape.width * unit)
    canvas.setDash([d * unit for d in shape.dash])
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash()


def _draw_words(canvas: Canvas, words: Words, unit: float) -> None:
    font, size = (BOLD if words.bold else PLAIN), words.size * unit
    shown = drawable(words.text, most=40)
    x, y = _scaled(words.at, unit)
    canvas.setFillColor(_colour(INK))
    canvas.setFont(font, size)
    canvas.drawString(x - stringWidth(shown, font, size) / 2, y - 0.36 * size, shown)


def _scaled(point: Sequence[float], unit: float) -> Point:
    return point[0] * unit, point[1] * unit


def _colour(colour: Colour) -> colors.Color:
    return colors.Color(*(c / 255 for c in colour))
