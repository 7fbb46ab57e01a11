"""Layer boundaries followed from the outline into the part."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from damagescore.edge.outline import Outline, Turned
from damagescore.edge.paths import best_path, whittaker
from damagescore.edge.sampling import medians, sample_part
from damagescore.edge.slant import Inside

Points = NDArray[np.float64]

DEPTH_MM = 15.0
BLOCK_PX = 4
MOST_MOVE = 3
"""Rows that a boundary may move from one block to the next: a ring seen at a
slant turns up steeply at the outline."""

MOVE_COST = 0.15


def follow_inward(
    turned: Turned, outline: Outline, starts: Points, *, inside: Inside, mm_per_px: float
) -> list[Points]:
    """Follow each boundary from the outline inwards.

    Parameters
    ----------
    turned : Turned
    outline : Outline
    starts : ndarray, shape (K,)
        Rows at which the boundaries reach the outline, the lowest first.
    mm_per_px : float

    Returns
    -------
    list of ndarray, shape (N, 2)
        Points in the turned photo, from the outline inwards.
    """
    known = np.isfinite(outline.x)
    x = median_filter(np.interp(outline.rows, outline.rows[known], outline.x[known]), 5)
    ends = np.interp(starts, outline.rows, x)
    depth = int(min(DEPTH_MM / mm_per_px, ends.min() - 4))
    count = max(depth // BLOCK_PX, 3)
    deep = BLOCK_PX * (np.arange(count) + 0.5)
    inner = [
        _follow(turned, start, end, inside.slant.lower(np.array([start]), deep), least=0.0)
        for start, end in zip(starts[1:-1].tolist(), ends[1:-1].tolist(), strict=True)
    ]
    # The ends of the stack are less clear: they run beside the next boundary.
    first = _follow(turned, starts[0], ends[0], inner[0], least=6.0)
    last = _follow(turned, starts[-1], ends[-1], inner[-1], least=6.0)
    courses = [first, *inner, last]
    return [
        _line(start, end, course)
        for start, end, course in zip(starts, ends, courses, strict=True)
    ]


def _line(start: float, end: float, course: Points) -> Points:
    depth = 2.0 + BLOCK_PX * (np.arange(len(course)) + 0.5)
    points = np.column_stack([end - depth, start + course])[::2]
    return np.vstack([[[end, start]], points])


def _follow(
    turned: Turned, start: float, end: float, course: Points, *, least: float
) -> Points:
    """Rows from `start` (B,) of one boundary: a shortest path, then smoothed.

    The path is looked for around `course`, within `least` rows if that is not 0.
    """
    count = len(course)
    span = 60
    offsets = np.arange(-span, span + 1)
    columns = end - 2.0 - np.arange(count * BLOCK_PX)
    rows = start + offsets[:, None] + np.repeat(course, BLOCK_PX)[None, :]
    strip = sample_part(turned.rgb, columns[None, :], rows)
    blocks = medians(strip.reshape(len(offsets), count, BLOCK_PX, 3), 2).astype(np.float64) + 8
    step = gaussian_filter1d(np.log(blocks), 1.2, axis=0, order=1)
    first = np.median(step[span - 3 : span + 4, :6].reshape(-1, 3), axis=0)
    direction = first / (np.linalg.norm(first) + 1e-9)
    gain = np.clip(step @ direction, 0.0, None)
    gain /= np.percentile(gain, 90) + 1e-6
    if least > 0:
        gain[np.abs(offsets) > least] = -1e3
    gain = np.minimum(gain, 3.0)
    gain[np.abs(offsets) > 3, 0] = -1e3  # it starts where it reaches the outline
    path = best_path(gain, most_move=MOST_MOVE, move_cost=MOVE_COST)
    weight = np.clip(gain[path, np.arange(count)], 0.0, 2.0) + 0.05
    return course + whittaker(offsets[path].astype(float), weight, 20.0)
