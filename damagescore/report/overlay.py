"""The photo with its findings drawn over it, as pixels."""

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from damagescore.photo.along import at_run, run_of
from damagescore.quantity import Length
from damagescore.report.fonts import BOLD, drawable, font_path
from damagescore.report.labels import (
    Boxes,
    Placed,
    Wanted,
    boxes_along,
    no_boxes,
    place_labels,
)
from damagescore.report.marks import (
    STYLES,
    LineStyle,
    Mark,
    Points,
    all_marks,
    finding_labels,
    finding_marks,
    hatch_lines,
    scale_bar,
)

LONGEST_SIDE_PX = 2000


def overlay(
    photo_rgb: NDArray[np.uint8],
    measurement: Mapping[str, Any],
    *,
    states: Mapping[str, str] | None = None,
    unit: Length = "mm",
    longest_side_px: int = LONGEST_SIDE_PX,
) -> NDArray[np.uint8]:
    """Draw layers, what the inspector drew, findings, labels and a scale bar over a photo.

    Parameters
    ----------
    photo_rgb : ndarray of uint8, shape (H, W, 3)
        Upright, at full resolution.
    measurement : mapping
        Schema damagescore/measurement/1; measuring lines where `with_rulers` added them.
    states : mapping of str to str
        "confirmed", "rejected" or "proposed" by finding id.
    unit : "mm" or "in"
        Of the scale bar.
    longest_side_px : int
        The result is made smaller to this size, never larger.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
    """
    image, factor = shrunk(photo_rgb, longest_side_px)
    draw = ImageDraw.Draw(image)
    thousandth = max(image.size) / 1000
    for mark in all_marks(measurement, states):
        _draw_mark(draw, mark, factor=factor, thousandth=thousandth)
    font = ImageFont.truetype(str(font_path(BOLD)), round(max(11.0, 11 * thousandth)))
    bar = scale_bar(measurement, photo_rgb.shape[1], unit=unit)
    taken = no_boxes()
    if bar is not None:
        taken = _draw_bar(draw, bar.length_px * factor, text=bar.text, font=font)
    wanted = [
        Wanted(text=text, at=_scaled(label.at_px, factor), size=_size(font, text))
        for label in finding_labels(measurement)
        for text in [drawable(label.text, most=24)]
    ]
    marks = mark_boxes(measurement, factor=factor, half=font.size / 2)
    placed = place_labels(wanted, image.size, taken=taken, marks=marks)
    for label_at in placed:
        _draw_leader(draw, label_at)
    for label_at in placed:
        _draw_label(draw, label_at, font=font)
    return np.asarray(image)


def overlay_png(
    photo_rgb: NDArray[np.uint8],
    measurement: Mapping[str, Any],
    *,
    states: Mapping[str, str] | None = None,
    unit: Length = "mm",
) -> bytes:
    """Give `overlay` as the bytes of a PNG file."""
    pixels = overlay(photo_rgb, measurement, states=states, unit=unit)
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, format="PNG")
    return file.getvalue()


def shrunk(photo_rgb: NDArray[np.uint8], longest_side_px: int) -> tuple[Image.Image, float]:
    """Give the photo at no more than that size, and the factor applied."""
    image = Image.fromarray(np.ascontiguousarray(photo_rgb))
    factor = min(1.0, longest_side_px / max(image.size))
    if factor == 1.0:
        return image, factor
    width = max(1, round(image.width * factor))
    height = max(1, round(image.height * factor))
    return image.resize((width, height), Image.Resampling.LANCZOS), factor


def mark_boxes(measurement: Mapping[str, Any], *, factor: float, half: float) -> Boxes:
    """Places that labels should leave free: along each finding's lines."""
    found = [
        boxes_along((mark.points_px + 0.5) * factor, half)
        for mark in finding_marks(measurement)
    ]
    return np.vstack([no_boxes(), *found])


def _scaled(point: tuple[float, float], factor: float) -> tuple[float, float]:
    return (point[0] + 0.5) * factor, (point[1] + 0.5) * factor


def _draw_mark(
    draw: ImageDraw.ImageDraw, mark: Mark, *, factor: float, thousandth: float
) -> None:
    style = STYLES[mark.style]
    points = (mark.points_px + 0.5) * factor
    if mark.closed:
        points = np.vstack([points, points[:1]])
    width = max(1, round(style.width * thousandth))
    pieces = _dashes(points, [d * thousandth for d in style.dash])
    if mark.style != "layer":
        for piece in pieces:
            _line(draw, piece, fill=(255, 255, 255), width=width + max(2, width))
    for piece in pieces:
        _line(draw, piece, fill=style.rgb, width=width)
    if style.hatch and mark.closed and len(mark.points_px) > 2:
        _hatch(draw, points, style=style, thousandth=thousandth)


def _hatch(
    draw: ImageDraw.ImageDraw, points: Points, *, style: LineStyle, thousandth: float
) -> None:
    for line in hatch_lines(points, 12 * thousandth):
        _line(draw, line, fill=style.rgb, width=max(1, round(0.6 * thousandth)))


def _line(
    draw: ImageDraw.ImageDraw, points: Points, *, fill: tuple[int, int, int], width: int
) -> None:
    if len(points) == 1:
        points = np.vstack([points, points])
    draw.line([(float(x), float(y)) for x, y in points], fill=fill, width=width, joint="curve")


def _dashes(points: Points, dash: list[float]) -> list[Points]:
    """Cut a polyline into its dashes by arc length."""
    if not dash or len(points) < 2:
        return [points]
    along = run_of(points)
    on, off = dash
    pieces = []
    for start in np.arange(0.0, along[-1], on + off):
        end = min(start + on, along[-1])
        inner = along[(along > start) & (along < end)]
        pieces.append(at_run(points, np.concatenate([[start], inner, [end]])))
    return pieces


def _size(font: ImageFont.FreeTypeFont, text: str) -> tuple[float, float]:
    return font.getlength(text) + 8, font.size * 1.35


def _draw_leader(draw: ImageDraw.ImageDraw, placed: Placed) -> None:
    draw.line([placed.at, _middle(placed)], fill=(255, 255, 255), width=3)
    draw.line([placed.at, _middle(placed)], fill=(0, 0, 0), width=1)


def _draw_label(
    draw: ImageDraw.ImageDraw, placed: Placed, *, font: ImageFont.FreeTypeFont
) -> None:
    draw.rectangle(placed.box, fill=(255, 255, 255), outline=(0, 0, 0))
    draw.text(_middle(placed), placed.text, fill=(0, 0, 0), font=font, anchor="mm")


def _middle(placed: Placed) -> tuple[float, float]:
    left, top, right, bottom = placed.box
    return (left + right) / 2, (top + bottom) / 2


def _draw_bar(
    draw: ImageDraw.ImageDraw, length: float, *, text: str, font: ImageFont.FreeTypeFont
) -> Boxes:
    image_height = draw.im.size[1]
    pad = font.size * 0.6
    right = pad + max(length, font.getlength(text)) + 2 * pad
    top = image_height - pad - font.size * 2.2
    frame = (pad, top, right, image_height - pad)
    draw.rectangle(frame, fill=(255, 255, 255), outline=(0, 0, 0))
    y = image_height - 1.7 * pad
    draw.line([(2 * pad, y), (2 * pad + length, y)], fill=(0, 0, 0), width=max(2, int(pad / 3)))
    draw.text((2 * pad, top + pad / 3), text, fill=(0, 0, 0), font=font, anchor="lt")
    return np.array([frame])
