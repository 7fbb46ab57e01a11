"""A chart as vectors on a page of the report."""

from typing import Any

from reportlab.lib import colors
from reportlab.platypus import Flowable

from damagescore.chart.record import COLOURS, Area, Chart, Dot, Line, Mark, Place, Style, Words
from damagescore.chart.svg import outline
from damagescore.report.fonts import PLAIN, drawable
from damagescore.report.look import INK


class ChartFigure(Flowable):  # type: ignore[misc]
    """A chart scaled to a width in points."""

    def __init__(self, chart: Chart, *, width: float) -> None:
        super().__init__()
        self._chart = chart
        self._scale = width / chart.size[0]
        self.width, self.height = width, chart.size[1] * self._scale

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        # Marks have y running down, the page has it running up.
        canvas.translate(0, self.height)
        canvas.scale(self._scale, self._scale)
        for mark in self._chart.marks:
            _draw(canvas, mark)
        canvas.restoreState()


def _draw(canvas: Any, mark: Mark) -> None:
    canvas.saveState()
    if isinstance(mark, Words):
        _words(canvas, mark)
    elif isinstance(mark, Area):
        _paint(canvas, mark.style)
        canvas.drawPath(_path(canvas, mark.points, closed=True), stroke=0, fill=1)
    elif isinstance(mark, Line):
        _pen(canvas, mark.style)
        canvas.drawPath(_path(canvas, mark.points, closed=False), stroke=1, fill=0)
    else:
        _dot(canvas, mark)
    canvas.restoreState()


def _dot(canvas: Any, dot: Dot) -> None:
    _pen(canvas, dot.style)
    _paint(canvas, dot.style)
    fill = 0 if dot.hollow else 1
    if dot.shape == "circle":
        canvas.circle(dot.at[0], -dot.at[1], dot.size, stroke=1, fill=fill)
    else:
        canvas.drawPath(_path(canvas, outline(dot), closed=True), stroke=1, fill=fill)


def _words(canvas: Any, words: Words) -> None:
    _paint(canvas, words.style)
    canvas.setFont(PLAIN, words.size * 0.92)
    canvas.translate(words.at[0], -words.at[1])
    if words.turned:
        canvas.rotate(90)
    draw = {
        "start": canvas.drawString,
        "middle": canvas.drawCentredString,
        "end": canvas.drawRightString,
    }
    draw[words.anchor](0, 0, drawable(words.text, most=120))


def _path(canvas: Any, points: tuple[Place, ...], *, closed: bool) -> Any:
    path = canvas.beginPath()
    path.moveTo(points[0][0], -points[0][1])
    for x, y in points[1:]:
        path.lineTo(x, -y)
    if closed:
        path.close()
    return path


def _pen(canvas: Any, style: Style) -> None:
    canvas.setStrokeColor(_colour(style), alpha=style.opacity)
    canvas.setLineWidth(style.width)
    canvas.setDash(list(style.dash))


def _paint(canvas: Any, style: Style) -> None:
    canvas.setFillColor(_colour(style), alpha=style.opacity)


def _colour(style: Style) -> Any:
    named = COLOURS[style.colour]
    return INK if named is None else colors.HexColor(named)
