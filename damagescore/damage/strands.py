"""Strands that run so close to a stroke that the search took them for a part of it."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from scipy.spatial import cKDTree

from damagescore.damage.centreline import normals, read_at, resample

Points = NDArray[np.float64]
Image = NDArray[np.float32]

REACH_MM = 0.5
"""Farther off a strand is a line of its own, which the search sees."""

BESIDE_MM = 0.1
"""Nearer than this to the middle, a stroke's own ragged side looks like a strand."""

OWN_MM = 0.1
"""Off the middle, within which a stroke's own darkness is read."""

LEAST_MM = 0.5
"""Shorter strands are grains."""

DARK = (0.5, 1.05)
"""A strand is about as dark as its stroke; what is darker is a stroke of its own."""

VALLEY = 0.2
"""Between them it is lighter by this share of the stroke's darkness."""

FREE = 0.75
"""Quantile of a cut that is the light beside all strokes on it."""

LEAST_DARKNESS = 0.2
"""Share of the light that a stroke must take for strands beside it to be looked for."""

DRAWN_MM = 0.2
"""Nearer than this to a line that is drawn already, it is that line."""

STRAIGHT_MM, STRAIGHT_DEG = 0.05, 2.0
"""Scatter and slope against the layers below which a strand is a mould line."""


def strands_beside(
    grey: Image, line: Points, others: list[Points], *, along: Points, px_per_mm: float
) -> list[Points]:
    """Strands beside a stroke that a lighter valley parts from it.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
    line : ndarray, shape (N, 2)
        The stroke's centre line, photo pixels.
    others : list of ndarray, shape (M, 2)
        Lines that are drawn already.
    along : ndarray, shape (2,)
        Unit vector of the layers: a straight strand along it is a mould line.
    px_per_mm : float

    Returns
    -------
    list of ndarray, shape (K, 2)
        Rough courses, in the direction of the line.

    Notes
    -----
    Known bias: a valley narrower than about two pixels is not seen, nor is the other
    branch counted then.
    """
    step = max(1.0, 0.04 * px_per_mm)
    even = resample(line, step_px=step)
    if len(even) < 10:
        return []
    across = max(0.5, 0.02 * px_per_mm)
    middle = math.ceil(REACH_MM * px_per_mm / across)
    depth = _depth(grey, even, across * np.arange(-middle, middle + 1, dtype=np.float64))
    depth = gaussian_filter(depth, (0.06 * px_per_mm / step, 0.02 * px_per_mm / across))
    own = round(OWN_MM * px_per_mm / across)
    body = float(np.median(depth[:, middle - own : middle + own + 1].max(axis=1)))
    if body < LEAST_DARKNESS:
        return []
    first = math.ceil(BESIDE_MM * px_per_mm / across)
    least = LEAST_MM * px_per_mm / step
    found = []
    for side, half in ((1, depth[:, middle:]), (-1, depth[:, middle::-1])):
        for rows, offset in _courses(half, body, first=first, least=least):
            course = even[rows] + side * across * offset[:, None] * normals(even)[rows]
            drawn = is_drawn(course, others, px_per_mm)
            found += [] if drawn or _is_mould(course, along, px_per_mm) else [course]
    return found


def _depth(grey: Image, line: Points, offsets_px: Points) -> Image:
    """Share of the light beside a line that is missing on cuts across it, (N, K).

    Two strokes and more leave a quarter of each cut free; a median would lie in a stroke.
    """
    cuts = read_at(grey, line[:, None] + offsets_px[None, :, None] * normals(line)[:, None])
    level = gaussian_filter1d(np.quantile(cuts, FREE, axis=1), 4.0, mode="nearest")
    return np.asarray(1 - cuts / np.maximum(level, 1.0)[:, None], np.float32)


def _courses(
    half: Image, body: float, *, first: int, least: float
) -> list[tuple[slice, NDArray[np.intp]]]:
    """Rows and columns of every strand on one side; the stroke's middle is column 0."""
    valley = np.minimum.accumulate(half, axis=1)
    parted = half - np.maximum(valley, 0) > VALLEY * body
    seen = parted & (half > DARK[0] * body)
    count, label, stats, _ = cv2.connectedComponentsWithStats(seen.astype(np.uint8))
    found = []
    for k in range(1, count):
        top, rows = stats[k, cv2.CC_STAT_TOP], stats[k, cv2.CC_STAT_HEIGHT]
        if rows < least:
            continue
        here = slice(int(top), int(top + rows))
        strand = np.where(label[here] == k, half[here], -1.0)
        offset = np.argmax(strand, axis=1)
        if offset.min() >= first and np.median(strand.max(axis=1)) <= DARK[1] * body:
            found.append((here, offset))
    return found


def is_drawn(course: Points, others: list[Points], px_per_mm: float) -> bool:
    """Whether a course is that of a line that is drawn already."""
    if not others:
        return False
    dense = np.vstack([resample(x, step_px=1.0) for x in others])
    return bool(np.mean(cKDTree(dense).query(course)[0] < DRAWN_MM * px_per_mm) > 0.4)


def _is_mould(course: Points, along: Points, px_per_mm: float) -> bool:
    """Whether a strand is straight and runs along the layers."""
    s, v = course @ along, course @ np.array([-along[1], along[0]])
    slope, level = np.polyfit(s, v, 1)
    spread = float(np.std(v - (slope * s + level))) / px_per_mm
    return spread < STRAIGHT_MM and abs(slope) < math.tan(math.radians(STRAIGHT_DEG))
