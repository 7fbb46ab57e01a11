"""Tracing a crack between given points: the measuring mode."""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.graph import MCP_Geometric

from damagescore.damage.centreline import centre, cut_across, resample, smooth
from damagescore.damage.lines import layer_of, measure_lines
from damagescore.damage.record import Finding, FindingKind
from damagescore.edge.record import Edge
from damagescore.errors import TraceError
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Image = NDArray[np.float32]

WORK_PX_PER_MM = 25.0
CORRIDOR_SHARE = 0.3
"""The path may leave the straight line by this share of its length."""

LEAST_CONTRAST = 0.08
"""Median relative darkness below which there is nothing to trace."""


def trace_crack(
    photo: Photo,
    points_px: Points,
    scale: Scale,
    *,
    edge: Edge | None = None,
    finding_id: str = "crack-t1",
    kind: FindingKind = "crack",
) -> Finding:
    """Trace one crack along given points: the darkest way between them, measured.

    Parameters
    ----------
    photo : Photo
    points_px : ndarray, shape (N, 2)
        Two or more points in order along the crack, photo pixels. The first and
        the last are its ends; each is moved across onto the stroke, never along.
    scale : Scale
    edge : Edge, optional
        Gives the layer and the share of it.
    finding_id : str
    kind : "crack" or "bond_gap"

    Returns
    -------
    Finding
        One line; origin "traced".

    Raises
    ------
    TraceError
        When fewer than two different points are given, when one lies outside the
        photo, or when nothing dark lies between two of them.
    """
    points = _checked(photo, points_px)
    rough = np.vstack([_between(photo, a, b, scale, edge) for a, b in pairwise(points)])
    line = _centred(photo.grey, rough, scale, points)
    _refuse_pale(photo, line, scale)
    quantities = measure_lines(photo, [line], scale, edge=edge, kind=kind, origin="traced")
    return Finding(
        id=finding_id,
        kind=kind,
        layer=None if edge is None else layer_of([line], edge),
        strength=1.0,
        lines_px=(line,),
        quantities=quantities,
        origin="traced",
    )


def snap_path(
    photo: Photo, a: Points, b: Points, *, mm_per_px: float = 0.04, edge: Edge | None = None
) -> Points:
    """The darkest way between two points, for showing while the pointer moves.

    Parameters
    ----------
    a, b : ndarray, shape (2,)
        Photo pixels.
    mm_per_px : float
        Of the photo, about; sets how far the stroke's width may reach.
    edge : Edge, optional
        Keeps the way on the rubber.

    Returns
    -------
    ndarray, shape (N, 2)
        Ordered points; the straight line where the points lie outside the photo
        or on each other.
    """
    a, b = np.asarray(a, np.float64), np.asarray(b, np.float64)
    limit = np.array([photo.width - 1, photo.height - 1])
    if np.any((a < 0) | (a > limit) | (b < 0) | (b > limit)) or np.hypot(*(b - a)) < 2:
        return np.vstack([a, b])
    return _darkest_way(photo.grey, a, b, px_per_mm=1 / mm_per_px, edge=edge)


def _checked(photo: Photo, points_px: Points) -> Points:
    points = np.asarray(points_px, np.float64).reshape(-1, 2)
    step = np.hypot(*np.diff(points, axis=0).T)
    points = points[np.concatenate([[True], step >= 1.0])] if len(points) else points
    if len(points) < 2:
        raise TraceError(
            f"A trace needs two different points, and {len(points)} was given.",
            remedy="Click both ends of the crack.",
        )
    limit = np.array([photo.width - 1, photo.height - 1])
    for x, y in points[~((points >= 0) & (points <= limit)).all(axis=1)]:
        raise TraceError(
            f"The point ({x:.0f}, {y:.0f}) lies outside the photo of "
            f"{photo.width} by {photo.height} pixels.",
            remedy="Give points inside the photo.",
        )
    return points


def _between(photo: Photo, a: Points, b: Points, scale: Scale, edge: Edge | None) -> Points:
    px_per_mm = 1 / scale.surface.mm_per_px_at((a + b) / 2)
    return _darkest_way(photo.grey, a, b, px_per_mm=px_per_mm, edge=edge)


@dataclass(frozen=True, slots=True, kw_only=True)
class Corridor:
    """A part of the photo, shrunk by a whole factor: `cost` of crossing a pixel."""

    cost: Image
    corner: Points
    shrink: float

    def to_photo(self, points: Points) -> Points:
        return np.asarray((points + 0.5) * self.shrink - 0.5 + self.corner)

    def from_photo(self, points: Points) -> Points:
        return np.asarray((points - self.corner + 0.5) / self.shrink - 0.5)


def _darkest_way(
    grey: Image, a: Points, b: Points, *, px_per_mm: float, edge: Edge | None
) -> Points:
    corridor = _corridor(grey, a, b, px_per_mm=px_per_mm, edge=edge)
    start, end = (_snapped(corridor, p) for p in (a, b))
    finder = MCP_Geometric(corridor.cost)
    finder.find_costs([start], [end])
    way = np.array(finder.traceback(end), np.float64)[:, ::-1]
    return corridor.to_photo(way)


def _corridor(
    grey: Image, a: Points, b: Points, *, px_per_mm: float, edge: Edge | None
) -> Corridor:
    length = float(np.hypot(*(b - a)))
    pad = max(CORRIDOR_SHARE * length / 2, 1.0 * px_per_mm, 12.0)
    low = np.floor(np.maximum(np.minimum(a, b) - pad, 0)).astype(int)
    high = np.ceil(np.maximum(a, b) + pad).astype(int) + 1
    box = np.s_[low[1] : high[1], low[0] : high[0]]
    shrink = max(1.0, px_per_mm / WORK_PX_PER_MM)
    shrink = shrink if shrink > 1.2 else 1.0
    dark = _darkness(_shrunk(grey[box], shrink), px_per_mm / shrink)
    if edge is not None:
        # A bond gap may reach a little across the border as it was found.
        reach = 2 * round(0.05 * px_per_mm) + 1
        rubber = cv2.dilate(
            edge.judged[box].astype(np.uint8), np.ones((reach, reach), np.uint8)
        )
        dark[_shrunk(rubber.astype(np.float32), shrink) < 0.5] = 0
    cost = (1 / (0.03 + np.clip(dark, 0.0, 1.0))).astype(np.float32)
    return Corridor(cost=cost, corner=low.astype(np.float64), shrink=shrink)


def _shrunk(part: Image, shrink: float) -> Image:
    if shrink == 1.0:
        return part
    size = tuple(max(2, int(n / shrink)) for n in part.shape[::-1])
    # Cut to exact multiples, so that the factor is the same both ways.
    part = part[: round(size[1] * shrink), : round(size[0] * shrink)]
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.float32)


def _darkness(part: Image, px_per_mm: float) -> Image:
    """Relative darkness of strokes, highest in their middle; about 0 elsewhere.

    The level is the median around or, where that is lower, the level that a
    morphological closing leaves: a dark plate beside the rubber is no stroke.
    """
    fine = cv2.GaussianBlur(part, (0, 0), max(0.6, 0.03 * px_per_mm))
    wide = cv2.GaussianBlur(part, (0, 0), max(0.8, 0.1 * px_per_mm))
    size = 2 * round(0.4 * px_per_mm) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    closed = cv2.morphologyEx(wide, cv2.MORPH_CLOSE, kernel)
    level = np.minimum(closed, _median_level(part, px_per_mm))
    mixed = 0.7 * fine + 0.3 * wide
    dark = np.clip(1 - mixed / np.maximum(level, 1.0), 0.0, 1.0)
    # What is dark all over, a gap between plate and card for one, is no stroke either.
    return np.asarray(dark - cv2.GaussianBlur(dark, (0, 0), 0.35 * px_per_mm), np.float32)


def _median_level(part: Image, px_per_mm: float) -> Image:
    """Median grey level within about 1.25 mm."""
    coarse = max(1, round(px_per_mm / 6))
    height, width = part.shape
    small = (max(3, width // coarse), max(3, height // coarse))
    reduced = np.clip(cv2.resize(part, small, interpolation=cv2.INTER_AREA), 0, 255)
    level = cv2.medianBlur(reduced.astype(np.uint8), 15).astype(np.float32)
    return np.asarray(cv2.resize(level, (width, height), interpolation=cv2.INTER_LINEAR))


def _snapped(corridor: Corridor, point: Points) -> tuple[int, int]:
    """Cheapest pixel near a click; one pixel away must be worth it."""
    column, row = np.round(corridor.from_photo(point)).astype(int)
    rows, columns = corridor.cost.shape
    row, column = int(np.clip(row, 0, rows - 1)), int(np.clip(column, 0, columns - 1))
    reach = 4
    top, left = max(0, row - reach), max(0, column - reach)
    near = corridor.cost[top : row + reach + 1, left : column + reach + 1]
    y, x = np.mgrid[: near.shape[0], : near.shape[1]]
    away = np.hypot(y - (row - top), x - (column - left))
    best = np.argmin(np.where(away <= reach, near * (1 + 0.15 * away), np.inf))
    dy, dx = np.unravel_index(int(best), near.shape)
    return top + int(dy), left + int(dx)


def _centred(grey: Image, rough: Points, scale: Scale, points: Points) -> Points:
    mm_per_px = scale.surface.mm_per_px_at(points[0])
    step = max(1.0, 0.04 / mm_per_px)
    even = resample(rough, step_px=step)
    if len(even) < 6:
        return np.vstack([points[0], points[-1]])
    # The path on whole pixels zigzags; cuts across need its course only.
    line = centre(grey, smooth(even, spread=2.0), reach_px=max(4.0, 0.25 / mm_per_px))
    return _ended_at(line, points[0], points[-1])


def _ended_at(line: Points, first: Points, last: Points) -> Points:
    """Cut or lengthen a line so that its ends lie beside the clicked points."""
    return _cut_at(_cut_at(line, last)[::-1], first)[::-1]


def _cut_at(line: Points, point: Points) -> Points:
    n_aim = min(10, len(line) - 1)
    aim = line[-1] - line[-1 - n_aim]
    aim = aim / max(float(np.hypot(*aim)), 1e-9)
    over = (line - point) @ aim
    near = np.hypot(*(line - line[-1]).T) < 3 * 10
    kept = ~(near & (over > 0))
    kept[:2] = True
    body = line[kept]
    missing = float((point - body[-1]) @ aim)
    return np.vstack([body, body[-1] + missing * aim]) if missing > 0.05 else body


def _refuse_pale(photo: Photo, line: Points, scale: Scale) -> None:
    mm_per_px = scale.surface.mm_per_px_at(line[len(line) // 2])
    cuts = cut_across(
        photo.grey, resample(line, step_px=1.0), reach_px=max(5.0, 0.4 / mm_per_px)
    )
    middle = cuts.depth.shape[1] // 2
    seen = float(np.median(cuts.depth[:, middle - 1 : middle + 2]))
    if seen < LEAST_CONTRAST:
        raise TraceError(
            f"Nothing dark lies between the points: the line is {100 * seen:.0f} % darker "
            f"than the rubber beside it, and at least {100 * LEAST_CONTRAST:.0f} % is needed.",
            remedy="Put the points on the crack, closer together, or draw the line by hand.",
        )
