"""Sharpness: the finest width that the photo lets one judge."""

import math

import numpy as np
from numpy.typing import NDArray

from damagescore.photo.along import at_run, run_of
from damagescore.photo.record import Photo
from damagescore.quality.record import Amount, Check
from damagescore.quality.rule import Bounds, QualityRule
from damagescore.quality.sharpness import EdgeResponse, side_response
from damagescore.scale.record import Mark, Scale

Points = NDArray[np.float64]

BORDER_CELLS = {"aruco_4x4_50": 6, "apriltag_36h11": 8}
"""Cells along a side: the outermost ring is black, and as wide as the reach may be."""

MOST_REACH_PX = 30.0
"""Enough for a blur of 10 px; wider ones are refused in any case."""

MOST_READINGS = 72
"""Readings at the layers in all; more do not change their sharpest fifth."""

SEGMENT_MM = 1.5
"""Length of border that is straight enough to be read as one side."""


def focus_checks(
    photo: Photo,
    scale: Scale,
    *,
    edge_polygons_px: list[Points] | None,
    needed_mm: float | None,
    rule: QualityRule,
) -> tuple[Check, ...]:
    """Judge sharpness at the scale marks and at the borders of the layers.

    Parameters
    ----------
    photo : Photo
    scale : Scale
    edge_polygons_px : list of ndarray, shape (N, 2), or None
        Rubber layers.
    needed_mm : float or None
        Finest width asked for, where it is below the usual one.
    rule : QualityRule
    """
    at_marks = finest_at_marks(photo, scale)
    at_layers = None
    if edge_polygons_px:
        at_layers = finest_at_borders(photo, scale, edge_polygons_px)
    bounds = rule.finest_width_mm
    if needed_mm is not None and needed_mm < bounds.warn:
        bounds = Bounds(warn=needed_mm, refuse=bounds.refuse)
    if at_marks is None and at_layers is None:
        message = (
            "Sharpness could not be read: no square mark and no clear layer border is seen."
        )
        return (Check(name="focus", outcome="warn", value=None, unit="mm", message=message),)
    checks = []
    if at_marks is not None:
        checks.append(_check("focus", at_marks, bounds, "at the scale mark"))
    if at_layers is not None:
        loose = rule.finest_width_at_shims_mm
        checks.append(_check("focus_rubber", at_layers, loose, "at the layers"))
    return tuple(checks)


def _check(name: str, finest_mm: float, bounds: Bounds, where: str) -> Check:
    outcome = bounds.judge(finest_mm)
    message = f"Lines down to {{finest}} wide keep half their contrast {where}"
    amounts = {"finest": Amount(value=finest_mm, unit="mm", form=".2f")}
    if outcome == "pass":
        message += "."
    else:
        message += "; {wanted} is wanted: focus on the rubber and hold still."
        amounts["wanted"] = Amount(value=bounds.warn, unit="mm", form=".2f")
    return Check(
        name=name, outcome=outcome, value=finest_mm, unit="mm", message=message, amounts=amounts
    )


def finest_at_marks(photo: Photo, scale: Scale) -> float | None:
    """Finest width at the sides of the square marks, mm; the sharpest mark counts.

    Of each pair of opposite sides the sharper one (a dirty side does not count), and
    of the two pairs the worse one (motion along one direction does). None without a
    square mark.
    """
    found = []
    for mark in scale.marks:
        widths = _widths_of(photo, mark, scale)
        pairs = [[w for w in widths[i::2] if w is not None] for i in (0, 1)]
        best = [min(pair) for pair in pairs if pair]
        if best:
            found.append(max(best))
    return min(found, default=None)


def _widths_of(photo: Photo, mark: Mark, scale: Scale) -> list[float | None]:
    if mark.kind not in BORDER_CELLS or len(mark.corners_px) != 4:
        return []
    corners = mark.corners_px
    sides = [np.array([corners[i], corners[(i + 1) % 4]]) for i in range(4)]
    cell = min(float(np.hypot(*(s[1] - s[0]))) for s in sides) / BORDER_CELLS[mark.kind]
    reach = min(0.9 * cell, MOST_REACH_PX)
    return [_width_mm(side_response(photo.grey, s, half_px=reach), s, scale) for s in sides]


def _width_mm(response: EdgeResponse | None, side: Points, scale: Scale) -> float | None:
    if response is None:
        return None
    return response.finest_width_px * scale.surface.mm_per_px_at(side.mean(axis=0))


def finest_at_borders(photo: Photo, scale: Scale, polygons_px: list[Points]) -> float | None:
    """Finest width at the borders of the layers, mm.

    Borders are rounded and smeared here and there, so the sharpest fifth of the
    readings tells of the lens; None with fewer than five readings.
    """
    mm_per_px = scale.mm_per_px
    reach = max(4.0, min(0.35 / mm_per_px, MOST_REACH_PX))
    widths = []
    count = max(4, math.ceil(MOST_READINGS / len(polygons_px)))
    for polygon in polygons_px:
        for side in _segments(polygon, photo, length_px=SEGMENT_MM / mm_per_px, count=count):
            response = side_response(photo.grey, side, half_px=reach, trim=0.02)
            if response is not None and response.contrast > 25:
                widths.append(response.finest_width_px * mm_per_px)
    if len(widths) < 5:
        return None
    return float(np.percentile(widths, 20))


def _segments(polygon: Points, photo: Photo, *, length_px: float, count: int) -> list[Points]:
    """Short chords along the outline, evenly spread, well inside the photo."""
    closed = np.vstack([polygon, polygon[:1]])
    starts = (np.arange(count) + 0.5) / count * run_of(closed)[-1]
    chords = []
    for start in starts:
        chord = at_run(closed, np.array([start, start + length_px]))
        straight = np.hypot(*(chord[1] - chord[0])) > 0.98 * length_px
        inside = (chord > 12).all() and (chord < [photo.width - 12, photo.height - 12]).all()
        if straight and inside:
            chords.append(chord)
    return chords
