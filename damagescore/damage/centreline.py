"""Centre lines: resampling, sub-pixel centring on a dark stroke, smoothing, simplifying."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from damagescore.photo.along import at_run, run_of

Points = NDArray[np.float64]
Image = NDArray[np.float32]

TOLERANCE_PX = 1.0
"""Douglas-Peucker tolerance: on 200 px lines at every angle the length then stays
within 0.5 %, where counting pixels errs by -10 % and skeleton chains by +8 %."""


def resample(line: Points, *, step_px: float) -> Points:
    """Points at an even distance of about `step_px`; both ends stay."""
    along = run_of(line)
    count = max(2, round(along[-1] / step_px) + 1)
    return at_run(line, np.linspace(0.0, along[-1], count))


def smooth(line: Points, *, spread: float) -> Points:
    """Smooth evenly spaced points without shrinking curves; both ends stay.

    Twicing (2 G - G G, Tukey 1977) passes polynomials up to the third degree
    unchanged, where a plain Gaussian pulls a curve towards its centre. `spread`
    counts points.
    """
    n_pad = min(len(line) - 1, int(np.ceil(6 * spread)))
    if n_pad < 2 or spread <= 0:
        return line.copy()
    # Point reflection at the ends keeps end and direction.
    head = 2 * line[0] - line[n_pad:0:-1]
    tail = 2 * line[-1] - line[-2 : -2 - n_pad : -1]
    padded = np.vstack([head, line, tail])
    once = gaussian_filter1d(padded, spread, axis=0)
    twice = 2 * once - gaussian_filter1d(once, spread, axis=0)
    return np.asarray(twice[n_pad : n_pad + len(line)])


def normals(line: Points) -> Points:
    """Unit vectors across the line at every vertex, shape (N, 2)."""
    tangent = np.gradient(line, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def simplify(line: Points, *, tolerance_px: float = TOLERANCE_PX) -> Points:
    """Drop vertices nearer than the tolerance to what is left (Douglas & Peucker 1973).

    Distances are taken to the segment, not to its endless line, so that a path
    that turns back on itself keeps its turn.
    """
    kept = np.zeros(len(line), bool)
    kept[[0, -1]] = True
    waiting = [(0, len(line) - 1)]
    while waiting:
        first, last = waiting.pop()
        if last - first < 2:
            continue
        away = _from_segment(line[first + 1 : last], line[first], line[last])
        farthest = first + 1 + int(np.argmax(away))
        if away[farthest - first - 1] > tolerance_px:
            kept[farthest] = True
            waiting += [(first, farthest), (farthest, last)]
    return line[kept]


def _from_segment(points: Points, start: Points, end: Points) -> Points:
    way = end - start
    share = (points - start) @ way / max(float(way @ way), 1e-12)
    foot = start + np.clip(share, 0.0, 1.0)[:, None] * way
    return np.asarray(np.hypot(*(points - foot).T))


@dataclass(frozen=True, slots=True, kw_only=True)
class Profiles:
    """Grey levels on cuts across a line.

    Parameters
    ----------
    depth : ndarray of float32, shape (N, K)
        1 - grey / level of the sides: 0 on the rubber beside, towards 1 in an
        open crack.
    offsets_px : ndarray, shape (K,)
        Positions on each cut, from -reach to +reach.
    """

    depth: Image
    offsets_px: Points


def cut_across(
    grey: Image,
    line: Points,
    *,
    reach_px: float,
    step_px: float = 0.5,
    tone: Callable[[Image], Image] | None = None,
) -> Profiles:
    """Sample cuts across an evenly spaced line.

    The level of the sides is the median of each cut's outer half, averaged over
    neighbouring cuts, and the darker side where the two differ (a step edge
    then has no depth). `tone` changes the grey levels first.
    """
    count = int(np.ceil(reach_px / step_px))
    offsets = np.arange(-count, count + 1) * step_px
    places = line[:, None, :] + offsets[None, :, None] * normals(line)[:, None, :]
    cuts = read_at(grey, places)
    cuts = cuts if tone is None else tone(cuts)
    outer = max(1, count // 2)
    left = np.median(cuts[:, :outer], axis=1)
    right = np.median(cuts[:, -outer:], axis=1)
    level = gaussian_filter1d(np.minimum(left, right), 4.0, mode="nearest")
    depth = 1 - cuts / np.maximum(level, 1e-4)[:, None]
    return Profiles(depth=depth.astype(np.float32), offsets_px=offsets.astype(np.float64))


def read_at(grey: Image, places: Points) -> Image:
    """Bilinear grey levels at photo pixels, shape (..., 2)."""
    x, y = places[..., 0].astype(np.float32), places[..., 1].astype(np.float32)
    x0, y0 = int(np.floor(x.min())) - 2, int(np.floor(y.min())) - 2
    x0, y0 = max(0, x0), max(0, y0)
    part = grey[y0 : int(y.max()) + 3, x0 : int(x.max()) + 3]
    if part.size == 0:
        return np.zeros(x.shape, np.float32)
    read = cv2.remap(part, x - x0, y - y0, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(read, np.float32)


def follow(depth: Image, *, stiffness: float = 0.02) -> NDArray[np.intp]:
    """Column of the darkest connected course through the rows (dynamic programming).

    Parameters
    ----------
    depth : ndarray, shape (N, K)
    stiffness : float
        Cost, in depth, of a sidestep by one column (grows with its square).
    """
    rows, columns = depth.shape
    jumps = np.arange(-3, 4)
    toll = stiffness * jumps.astype(np.float64) ** 2
    # The margin costs too much to be chosen; the windows look at `padded` as it changes.
    padded = np.full(columns + 6, 1e9)
    padded[3:-3] = -depth[0]
    around = sliding_window_view(padded, len(jumps))
    came = np.zeros((rows, columns), np.intp)
    here = np.arange(columns)
    for row in range(1, rows):
        options = around + toll
        came[row] = np.argmin(options, axis=1)
        padded[3:-3] = options[here, came[row]] - depth[row]
    came = np.clip(here + jumps[came], 0, columns - 1)
    best = padded[3:-3]
    course = np.empty(rows, np.intp)
    course[-1] = int(np.argmin(best))
    for row in range(rows - 1, 0, -1):
        course[row - 1] = came[row, course[row]]
    return course


def centre(grey: Image, line: Points, *, reach_px: float, spread: float = 2.0) -> Points:
    """Move an evenly spaced line onto the middle of its dark stroke.

    The stroke's middle on each cut is the centroid of what is deeper than half
    the local depth, connected to the course of the darkest line.
    """
    profiles = cut_across(grey, line, reach_px=reach_px)
    depth = gaussian_filter1d(profiles.depth, 1.5, axis=0, mode="nearest")
    depth = gaussian_filter1d(depth, 1.0, axis=1, mode="nearest")
    course = follow(depth)
    offset = _half_depth_centroid(depth, course, profiles.offsets_px)
    moved = line + offset[:, None] * normals(line)
    return smooth(moved, spread=spread)


def _half_depth_centroid(depth: Image, course: NDArray[np.intp], offsets: Points) -> Points:
    rows = np.arange(len(depth))
    peak = depth[rows, course]
    inside = connected(depth > 0.5 * peak[:, None], course)
    weight = np.where(inside, np.maximum(depth - 0.5 * peak[:, None], 0), 0.0)
    total = weight.sum(axis=1)
    middle = (weight * offsets).sum(axis=1) / np.maximum(total, 1e-9)
    return np.where(total > 1e-6, middle, offsets[course])


def connected(mask: NDArray[np.bool_], course: NDArray[np.intp]) -> NDArray[np.bool_]:
    """In every row, the run of True cells that holds the given column."""
    columns = np.arange(mask.shape[1])
    gap = ~mask
    before = np.where(gap & (columns <= course[:, None]), columns, -1).max(axis=1)
    after = np.where(gap & (columns >= course[:, None]), columns, mask.shape[1]).min(axis=1)
    return np.asarray((columns > before[:, None]) & (columns < after[:, None]))
