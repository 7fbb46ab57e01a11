"""Drawings of the report: a photo with its findings, and a usage bar."""

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from reportlab.lib import colors
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from damagescore.quantity import Length
from damagescore.report.fonts import BOLD, PLAIN, drawable
from damagescore.report.labels import Boxes, Placed, Wanted, no_boxes, place_labels
from damagescore.report.look import FAINT, INK, PALE, RULE
from damagescore.report.marks import (
    STYLES,
    Mark,
    Points,
    all_marks,
    finding_labels,
    hatch_lines,
    scale_bar,
)
from damagescore.report.overlay import LONGEST_SIDE_PX, mark_boxes, shrunk

LABEL_SIZE = 6.0
SMALL_LABEL_SIZE = 4.5
MANY_LABELS = 40


class PhotoFigure(Flowable):  # type: ignore[misc]
    """A photo as JPEG of at most 2000 px with its marks as vectors over it."""

    def __init__(
        self,
        photo_rgb: NDArray[np.uint8],
        measurement: Mapping[str, Any],
        *,
        states: Mapping[str, str],
        unit: Length,
        box: tuple[float, float],
    ) -> None:
        super().__init__()
        height_px, width_px = photo_rgb.shape[:2]
        self.scale = min(box[0] / width_px, box[1] / height_px)
        self.width, self.height = width_px * self.scale, height_px * self.scale
        self.hAlign = "CENTER"
        # Lines are drawn bolder on paper than on a screen.
        self._thousandth = 1.5 * max(self.width, self.height) / 1000
        self._jpeg = _jpeg(photo_rgb)
        self._measurement, self._states = measurement, states
        self._bar = scale_bar(measurement, width_px, unit=unit)

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas: Canvas = self.canv
        canvas.saveState()
        clip = canvas.beginPath()
        clip.rect(0, 0, self.width, self.height)
        canvas.clipPath(clip, stroke=0)
        canvas.drawImage(ImageReader(self._jpeg), 0, 0, self.width, self.height)
        canvas.setLineJoin(1)
        for mark in all_marks(self._measurement, self._states):
            self._draw_mark(mark)
        taken = self._draw_bar()
        self._draw_labels(taken)
        canvas.restoreState()
        canvas.setStrokeColor(RULE)
        canvas.rect(0, 0, self.width, self.height)

    def _draw_mark(self, mark: Mark) -> None:
        style = STYLES[mark.style]
        thousandth = self._thousandth
        points = self._on_page(mark.points_px)
        canvas: Canvas = self.canv
        if mark.style != "layer":
            canvas.setStrokeColor(colors.white)
            self._stroke(points, mark.closed, width=2.2 * style.width * thousandth)
        canvas.setStrokeColor(colors.Color(*(c / 255 for c in style.rgb)))
        if style.hatch and mark.closed and len(points) > 2:
            for line in hatch_lines(points, 12 * thousandth):
                self._stroke(line, False, width=0.6 * thousandth)
        canvas.setDash([d * thousandth for d in style.dash])
        self._stroke(points, mark.closed, width=style.width * thousandth)
        canvas.setDash()

    def _stroke(self, points: Points, closed: bool, *, width: float) -> None:
        canvas: Canvas = self.canv
        canvas.setLineWidth(width)
        path = canvas.beginPath()
        path.moveTo(*points[0])
        for x, y in points[1:]:
            path.lineTo(x, y)
        if closed:
            path.close()
        canvas.drawPath(path)

    def _on_page(self, points_px: Points) -> Points:
        # Pixel centres lie at integers, the page's y runs upwards.
        at = (points_px + 0.5) * self.scale
        return np.column_stack([at[:, 0], self.height - at[:, 1]])

    def _draw_labels(self, taken: Boxes) -> None:
        labels = list(finding_labels(self._measurement))
        letters = LABEL_SIZE if len(labels) <= MANY_LABELS else SMALL_LABEL_SIZE
        wanted = []
        for label in labels:
            shown = drawable(label.text, most=24)
            x, y = ((v + 0.5) * self.scale for v in label.at_px)
            size = (stringWidth(shown, BOLD, letters) + 4, letters * 1.4)
            wanted.append(Wanted(text=shown, at=(x, y), size=size))
        marks = mark_boxes(self._measurement, factor=self.scale, half=letters / 2)
        placed = place_labels(wanted, (self.width, self.height), taken=taken, marks=marks)
        for label_at in placed:
            self._draw_leader(label_at)
        for label_at in placed:
            self._draw_label(label_at, letters=letters)

    def _draw_leader(self, placed: Placed) -> None:
        canvas: Canvas = self.canv
        left, top, right, bottom = placed.box
        x, y = placed.at[0], self.height - placed.at[1]
        for colour, width in ((colors.white, 1.2), (colors.black, 0.4)):
            canvas.setStrokeColor(colour)
            canvas.setLineWidth(width)
            canvas.line(x, y, (left + right) / 2, self.height - (top + bottom) / 2)

    def _draw_label(self, placed: Placed, *, letters: float) -> None:
        canvas: Canvas = self.canv
        left, top, right, bottom = placed.box
        middle_x, middle_y = (left + right) / 2, self.height - (top + bottom) / 2
        canvas.setFillColor(colors.white)
        canvas.rect(left, self.height - bottom, right - left, bottom - top, fill=1)
        canvas.setFillColor(colors.black)
        canvas.setFont(BOLD, letters)
        canvas.drawCentredString(middle_x, middle_y - letters * 0.36, placed.text)

    def _draw_bar(self) -> Boxes:
        if self._bar is None:
            return no_boxes()
        canvas: Canvas = self.canv
        length = self._bar.length_px * self.scale
        width = max(length, stringWidth(self._bar.text, BOLD, 7)) + 10
        canvas.setFillColor(colors.white)
        canvas.setStrokeColor(colors.black)
        canvas.setLineWidth(0.4)
        canvas.rect(4, 4, width, 17, fill=1)
        canvas.setFillColor(colors.black)
        canvas.rect(9, 7, length, 2, fill=1)
        canvas.setFont(BOLD, 7)
        canvas.drawString(9, 12, self._bar.text)
        return np.array([[0.0, self.height - 24, width + 8, self.height]])


class LineSample(Flowable):  # type: ignore[misc]
    """A short line in the style of a kind, for the legend."""

    def __init__(self, style: str) -> None:
        super().__init__()
        self.width, self.height = 34.0, 8.0
        self._style = style

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas: Canvas = self.canv
        style = STYLES[self._style]
        faint = self._style == "layer"
        canvas.setStrokeColor(FAINT if faint else colors.Color(*(c / 255 for c in style.rgb)))
        canvas.setLineWidth(style.width * 0.7)
        canvas.setDash([d * 0.6 for d in style.dash])
        if not style.hatch:
            canvas.line(0, 4, self.width, 4)
            return
        canvas.rect(0, 0, self.width, 8)
        canvas.setDash()
        canvas.setLineWidth(0.4)
        for x in range(0, int(self.width) - 6, 6):
            canvas.line(x, 0, x + 8, 8)


class UsageBar(Flowable):  # type: ignore[misc]
    """A value against its limit: bar, uncertainty band, borderline zone, limit.

    Parameters
    ----------
    usage : float
        Value over limit.
    u : float
        Standard uncertainty over limit.
    zone : float
        Half width of the borderline zone over limit.
    """

    def __init__(self, usage: float, u: float, *, zone: float, width: float) -> None:
        super().__init__()
        self.width, self.height = width, 24.0
        self._usage, self._u, self._zone = usage, u, zone
        self._end = min(max(1.25, 1 + 1.3 * zone, 1.1 * (usage + 1.96 * u)), 2.5)

    def wrap(self, *_available: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas: Canvas = self.canv
        canvas.setLineWidth(0.4)
        canvas.setStrokeColor(RULE)
        canvas.setFillColor(PALE)
        canvas.rect(0, 8, self.width, 9, fill=1)
        self._draw_zone()
        canvas.setFillColor(FAINT)
        canvas.rect(0, 10, self._x(self._usage), 5, stroke=0, fill=1)
        self._draw_band()
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.4)
        canvas.line(self._x(1), 6, self._x(1), 19)
        self._draw_words()

    def _x(self, usage: float) -> float:
        return self.width * min(max(usage, 0.0), self._end) / self._end

    def _draw_zone(self) -> None:
        canvas: Canvas = self.canv
        left, right = self._x(1 - self._zone), self._x(1 + self._zone)
        canvas.saveState()
        clip = canvas.beginPath()
        clip.rect(left, 8, right - left, 9)
        canvas.clipPath(clip, stroke=1)
        canvas.setStrokeColor(FAINT)
        for x in np.arange(left - 9, right, 2.5):
            canvas.line(x, 8, x + 9, 17)
        canvas.restoreState()

    def _draw_band(self) -> None:
        canvas: Canvas = self.canv
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1)
        low, high = self._x(self._usage - 1.96 * self._u), self._x(self._usage + 1.96 * self._u)
        canvas.line(low, 12.5, high, 12.5)
        for x in (low, high):
            canvas.line(x, 10, x, 15)
        if self._usage > self._end:
            canvas.setFillColor(colors.white)
            canvas.setFont(BOLD, 8)
            canvas.drawRightString(self.width - 3, 9.6, "»")

    def _draw_words(self) -> None:
        canvas: Canvas = self.canv
        canvas.setFillColor(INK)
        canvas.setFont(PLAIN, 5.5)
        canvas.drawString(0, 1.5, "0")
        canvas.drawCentredString(self._x(1), 1.5, "limit")


def _jpeg(photo_rgb: NDArray[np.uint8]) -> io.BytesIO:
    image, _ = shrunk(photo_rgb, LONGEST_SIDE_PX)
    file = io.BytesIO()
    image.save(file, format="JPEG", quality=85)
    file.seek(0)
    return file
