"""Dark lines that begin at a drawn stroke and that the search did not follow."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, median_filter

from damagescore.damage.network import networks, thin
from damagescore.damage.strip import blurred
from damagescore.damage.surround import Surround
from damagescore.photo.along import places_along
from damagescore.ranks import quantile

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

BLUR_MM = 0.05
"""About the width of the finest branches."""

BESIDE_MM = 1.5
"""Rubber this far round the lines is looked at; it says too what grain answers."""

GRAIN, ABOVE = 0.8, 1.4
"""A place may be a line's where it answers so many times this quantile of sound rubber: about
what one place in ten of it exceeds, whatever else lies there."""

PLAIN = 2.2
"""Times that, which a line must answer on the whole."""

LEAST_MM = 0.7
"""Shorter pieces are grains."""

TOUCHES_MM = 0.25
"""A line that begins this near to a stroke hangs on it."""

FLANK_MM = 0.06
"""Beyond half its width a stroke's flank is no line of its own."""

DARK = (0.38, 1.05)
"""A branch is as dark as its stroke, or paler as it is finer; else it is another line."""

COURSE = 0.85
"""Distance of its ends over its length: grain that hangs together wanders."""

LEAST_DARKNESS = 0.05

STRAIGHT_MM, STRAIGHT_DEG = 0.05, 3.0
"""Scatter and slope against the layers below which a line may be a mould line."""

MOULD_MM = 2.5
"""A mould line is longer, or goes on in another piece."""

STRAY_PX = 3.0
"""Side twigs of a thinned piece are shorter."""


def spurs_beside(around: Surround, lines: list[Points], *, along: Points) -> list[Points]:
    """Dark lines that hang on drawn strokes, each by its middle line.

    Parameters
    ----------
    around : Surround
    lines : list of ndarray, shape (N, 2)
        All that is drawn of one crack, photo pixels.
    along : ndarray, shape (2,)
        Unit vector of the layers: a straight line along it that goes on is a mould line.

    Returns
    -------
    list of ndarray, shape (K, 2)
        Courses outside the drawn strokes, from about where they leave them or are first
        seen; in no fixed direction.

    Notes
    -----
    A line is where the darkness curves across and not along (eigenvalues of the Hessian
    matrix at one small scale): beside a broad stroke this sees a fine one that the
    elongated filters of the search blend into it. What sound rubber round the lines
    answers is the measure.
    """
    px_per_mm = around.px_per_mm
    places = np.vstack(lines) - around.corner
    reach = math.ceil(BESIDE_MM * px_per_mm)
    x0, y0 = (max(0, int(c) - reach) for c in places.min(axis=0))
    x1, y1 = (int(c) + reach + 1 for c in places.max(axis=0))
    box = np.s_[y0:y1, x0:x1]
    plain = np.maximum(around.dark[box], -0.3)  # outside it is far below
    depth = around.depth[box]
    dark = blurred(plain, BLUR_MM * px_per_mm)
    answer = _answer(dark, max(1, round(0.03 * px_per_mm)))
    corner = around.corner + np.array([x0, y0])
    own, usual = _strokes(plain, dark, [line - corner for line in lines], px_per_mm)
    near = cv2.dilate(own.astype(np.uint8), _disc(TOUCHES_MM * px_per_mm)) > 0
    sound = (depth > 0.3 * px_per_mm) & ~near
    if sound.sum() < 200:
        return []
    least = ABOVE * quantile(answer[sound][::7], GRAIN)
    seen = (answer > least) & (dark > LEAST_DARKNESS) & (depth > 0.12 * px_per_mm) & ~own
    count, label, stats, _ = cv2.connectedComponentsWithStats(seen.astype(np.uint8))
    pieces = []
    for k in range(1, count):
        left, top, width, height = stats[k, :4]
        if math.hypot(width, height) < LEAST_MM * px_per_mm:
            continue
        here = np.s_[top : top + height, left : left + width]
        piece = label[here] == k
        if np.mean(answer[here][piece]) < PLAIN * least:
            continue
        line = _middle(piece, least_px=LEAST_MM * px_per_mm)
        if line is not None:
            alike = DARK[0] * usual < np.median(dark[here][piece]) < DARK[1] * usual
            runs = math.dist(line[0], line[-1]) > COURSE * len(line)
            hangs = bool(alike and runs and near[here][piece].any())
            pieces.append((hangs, line + corner + np.array([left, top])))
    lines = [line for _, line in pieces]
    return [
        line
        for hangs, line in pieces
        if hangs and not _is_mould(line, lines, along=along, px_per_mm=px_per_mm)
    ]


def _is_mould(line: Points, pieces: list[Points], *, along: Points, px_per_mm: float) -> bool:
    """Whether a piece is straight, runs along the layers, and is long or goes on."""
    turned = np.array([along, [-along[1], along[0]]]).T
    s, v = (line @ turned).T
    slope, level = np.polyfit(s, v, 1)
    spread = float(np.std(v - (slope * s + level))) / px_per_mm
    if spread > STRAIGHT_MM or abs(slope) > math.tan(math.radians(STRAIGHT_DEG)):
        return False
    if np.ptp(s) > MOULD_MM * px_per_mm:
        return True
    others = [(x @ turned).T for x in pieces if x is not line]
    off = [float(np.max(np.abs(y - slope * x - level))) for x, y in others]
    return min(off, default=math.inf) < 3 * STRAIGHT_MM * px_per_mm


def _answer(dark: Image, step: int) -> Image:
    """How much more the darkness curves across than along, over one step."""
    k = step
    xx = np.roll(dark, k, 1) + np.roll(dark, -k, 1) - 2 * dark
    yy = np.roll(dark, k, 0) + np.roll(dark, -k, 0) - 2 * dark
    xy = (
        np.roll(dark, (k, k), (0, 1)) + np.roll(dark, (-k, -k), (0, 1))
        - np.roll(dark, (k, -k), (0, 1)) - np.roll(dark, (-k, k), (0, 1))
    ) / 4  # fmt: skip
    mean, half = -(xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    return np.asarray(mean + half - np.maximum(mean - half, 0), np.float32)


def _strokes(
    plain: Image, dark: Image, lines: list[Points], px_per_mm: float
) -> tuple[Mask, float]:
    """Where drawn lines and their dark strokes lie, and how dark these usually are."""
    height, width = dark.shape
    own = np.zeros(dark.shape, np.uint8)
    at = [np.round(places_along([line])).astype(int) for line in lines]
    at = [p[(p >= 0).all(axis=1) & (p[:, 0] < width) & (p[:, 1] < height)] for p in at]
    levels = np.concatenate([dark[p[:, 1], p[:, 0]] for p in at])
    usual = float(np.median(levels))
    inside = plain > max(0.35 * usual, 0.08)
    half = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 3)
    size = max(3, round(0.8 * px_per_mm))
    for p in at:
        if len(p):
            radius = maximum_filter1d(median_filter(half[p[:, 1], p[:, 0]], size), 3)
            for (x, y), r in zip(p[::2], radius[::2], strict=True):
                reach = math.ceil(r + FLANK_MM * px_per_mm)
                cv2.circle(own, (int(x), int(y)), reach, 1, -1)
    return own.astype(bool), usual


def _disc(radius_px: float) -> NDArray[np.uint8]:
    size = 2 * round(radius_px) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), np.uint8)


def _middle(piece: Mask, *, least_px: float) -> Points | None:
    """The longest path along a piece; None where that is short."""
    paths = networks(thin(np.pad(piece, 1)), shortest_branch_px=STRAY_PX)
    longest = max((p.lines[0] for p in paths), key=len, default=np.zeros((0, 2)))
    return longest - 1 if len(longest) >= least_px else None
