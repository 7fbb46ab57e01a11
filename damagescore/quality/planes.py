"""Does the mark lie in the plane of the rubber: layers that converge tell that it does not."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.quality.record import Check
from damagescore.quality.rule import QualityRule
from damagescore.ranks import median_slope
from damagescore.scale.record import Scale
from damagescore.scale.round_edge import STATED_TURN_DEG, other_rounds
from damagescore.scale.surface import SurfaceMap

Points = NDArray[np.float64]

STATIONS = 41
LEAST_APART = 0.3
"""Stations and borders nearer to each other than this share of the length, or of the height
of the stack, tell little of a slope or of its change."""

LEAST_SPREAD_PERCENT = 0.2
"""Layers of sound parts are not parallel to better than this; own renders and common sense,
no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Convergence:
    """Change of the stack's height from left to right over its mean height, and its u."""

    change: float
    u: float


def planes_check(scale: Scale, polygons_px: list[Points], *, rule: QualityRule) -> Check | None:
    """Judge whether the mark lies in the rubber's plane.

    In the plane of the mark a sound stack is as high on the left as on the right.
    A mark that is turned against the rubber makes the layers converge. A mark that
    only stands off, parallel to the rubber, is not seen by this. None where fewer
    than two layers share enough length.
    """
    found = convergence(scale.surface, polygons_px)
    if found is None:
        return None
    percent = 100 * abs(found.change)
    known_plane = scale.tilt_deg is not None
    is_round = scale.surface.radius_mm is not None
    bounds = rule.convergence_round_percent if is_round else rule.convergence_percent
    bounds = bounds if known_plane else rule.convergence_loose_percent
    if percent > bounds.warn:
        u = math.hypot(found.u, _u_by_view(scale, polygons_px, found.change))
        bounds = bounds.widened(100 * rule.convergence_sure * u)
    outcome = bounds.judge(percent)
    message = f"The layers converge by {percent:.1f} % from side to side"
    if outcome != "pass" and not known_plane:
        message += ": hold the camera square to the rubber"
    elif outcome != "pass":
        message += ": the scale mark is not in the plane of the rubber, lay it flat on it"
    return Check(name="planes", outcome=outcome, value=percent, unit="%", message=message + ".")


def convergence(surface: SurfaceMap, polygons_px: list[Points]) -> Convergence | None:
    """How the borders of the layers run together in the metric frame.

    The slope of each border, by the median over pairs of its places, changes evenly from
    border to border where the stack converges; the change is the median over pairs of
    borders (Theil-Sen), so that a border or two that were lost do not turn it. Its u is by
    the spread of the borders about that.

    Known limit: a stack that really is wedge-shaped reads the same.
    """
    facing = [_facing(p, surface) for p in polygons_px]
    outlines = [surface.to_mm(p) for p in facing if len(p) > 3]
    if len(outlines) < 2:
        return None
    turn = _direction(outlines)
    turned = [outline @ turn for outline in outlines]
    start = max(float(t[:, 0].min()) for t in turned)
    length = min(float(t[:, 0].max()) for t in turned) - start
    if length <= 0:
        return None
    s = np.linspace(start + 0.04 * length, start + 0.96 * length, STATIONS)
    borders = np.array([side for t in turned for side in _sides(t, s)])
    known = np.isfinite(borders).all(axis=0)
    level = np.median(borders[:, known], axis=1) if known.any() else np.zeros(1)
    height = float(np.ptp(level))
    if known.sum() < STATIONS / 2 or length < 0.5 * height:
        return None
    slope = median_slope(s[known], borders[:, known], least=LEAST_APART * length)
    by_level = median_slope(level, slope, least=LEAST_APART * height)
    misfit = slope - by_level * level
    # the usual spread of a normal law by its median deviation; two values were fitted
    spread = 1.4826 * float(np.median(np.abs(misfit - np.median(misfit))))
    free = math.sqrt(len(level) - 2)
    u = length * spread / (free * float(np.std(level)))
    return Convergence(
        change=length * float(by_level), u=math.hypot(u, LEAST_SPREAD_PERCENT / 100)
    )


def _u_by_view(scale: Scale, polygons_px: list[Points], change: float) -> float:
    """Standard uncertainty of the convergence from the perspective that the scale assumes.

    On a round edge that is the place where it faces the camera and the camera's place.
    On a flat one marks with a known outline tell how much they are foreshortened; how much
    nearer one side of the photo is then hangs on the focal length. The graduations of a
    rule show the vanishing line itself.
    """
    if scale.surface.radius_mm is not None:
        return _u_by_round(scale, polygons_px, change)
    if scale.u_log_focal is None or scale.method == "rule":
        return 0.0
    points = np.vstack(polygons_px)
    ends = points[[int(np.argmin(points[:, 0])), int(np.argmax(points[:, 0]))]]
    left, right = (scale.surface.mm_per_px_at(p) for p in ends)
    return scale.u_log_focal * abs(math.log(left / right))


def _u_by_round(scale: Scale, polygons_px: list[Points], change: float) -> float:
    others = other_rounds(
        scale.surface, u_facing_mm=scale.u_facing_mm, u_log_focal=scale.u_log_focal or 0.0,
        u_tilt_deg=scale.u_tilt_deg or 0.0,
    )  # fmt: skip
    return math.hypot(*(_rms_change(s, polygons_px, change) for s in others.values()))


def _rms_change(
    surfaces: Iterable[SurfaceMap], polygons_px: list[Points], change: float
) -> float:
    found = [convergence(s, polygons_px) for s in surfaces]
    return math.sqrt(np.mean([(f.change - change) ** 2 for f in found if f is not None] or 0.0))


def _facing(polygon_px: Points, surface: SurfaceMap) -> Points:
    """What of an outline is not turned far away; there borders are seen too flat."""
    if surface.radius_mm is None:
        return polygon_px
    return polygon_px[np.abs(surface.turn_deg(polygon_px)) <= STATED_TURN_DEG]


def _direction(outlines: list[Points]) -> Points:
    """Rotation whose first column runs along the layers, shape (2, 2)."""
    total = sum((np.cov((o - o.mean(axis=0)).T) for o in outlines), start=np.zeros((2, 2)))
    along = np.linalg.eigh(total)[1][:, -1]
    along = along * np.sign(along[np.argmax(np.abs(along))])
    return np.array([[along[0], -along[1]], [along[1], along[0]]])


def _sides(outline: Points, s: Points) -> Points:
    """Lowest and highest level of a closed outline at each s, shape (2, K); NaN beside it."""
    first, second = outline, np.roll(outline, -1, axis=0)
    low = np.minimum(first[:, 0], second[:, 0])[:, None]
    high = np.maximum(first[:, 0], second[:, 0])[:, None]
    crossed = (s >= low) & (s < high)
    step = second - first
    rise = step[:, 1] / np.where(step[:, 0] == 0, np.inf, step[:, 0])
    at = first[:, 1:] + (s - first[:, :1]) * rise[:, None]
    sides = np.array([
        np.where(crossed, at, np.inf).min(axis=0), np.where(crossed, at, -np.inf).max(axis=0)
    ])  # fmt: skip
    return np.where(np.isfinite(sides), sides, np.nan)
