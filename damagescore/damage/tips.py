"""Where a dark stroke ends: moving the ends of a centre line onto its tips."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from damagescore.damage.centreline import cumulative_px, follow, read_at, resample
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Image = NDArray[np.float32]

BACK_MM = 0.6
"""The elongated filters overshoot a tip by up to their half length; start inside it."""

AHEAD_MM = 1.8
SIDE_MM = 0.5


def with_true_ends(grey: Image, line: Points, scale: Scale, *, start: bool = True) -> Points:
    """Move the last end (and the first, if `start`) of a line to the stroke's tip.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
    line : ndarray, shape (N, 2)
        Evenly spaced centre line, photo pixels.
    start : bool
        False for a branch, whose first point lies on its main path.

    Notes
    -----
    A tip ends where the mean darkness over 0.2 mm ahead falls below 2.5 times its
    own spread beside the stroke.
    """
    fixed = _with_true_end(grey, line, scale)
    if start:
        fixed = _with_true_end(grey, fixed[::-1], scale)[::-1]
    return fixed


def _with_true_end(grey: Image, line: Points, scale: Scale) -> Points:
    mm_per_px = scale.surface.mm_per_px_at(line[-1])
    along = cumulative_px(line)
    back = min(BACK_MM / mm_per_px, along[-1] / 3)
    kept = along <= along[-1] - back
    if kept.sum() < 3:
        return line
    body = line[kept]
    n_aim = max(3, round(0.8 / mm_per_px / max(along[1], 1e-6)))
    aim = _direction(body[-n_aim:])
    ahead = np.arange(0.0, back + AHEAD_MM / mm_per_px, 1.0)
    side = np.arange(-math.ceil(SIDE_MM / mm_per_px), math.ceil(SIDE_MM / mm_per_px) + 1.0)
    across = np.array([-aim[1], aim[0]])
    places = body[-1] + ahead[:, None, None] * aim + side[None, :, None] * across
    inside = _inside(places, grey.shape)
    if inside < 3:
        return line
    patch = read_at(grey, places[:inside])
    course, darkness, spread = _walk(patch, 1 / mm_per_px)
    end = _last_dark(darkness, 2.5 * spread, round(0.3 / mm_per_px))
    tip = body[-1] + ahead[: end + 1, None] * aim + side[course[: end + 1], None] * across
    step = float(np.median(np.diff(along)))
    return resample(np.vstack([body, tip[1:]]), step_px=step) if end >= 1 else body


def _direction(points: Points) -> Points:
    """Unit vector of the best straight line, pointing from first to last."""
    centred = points - points.mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    axis = axes[0]
    return np.asarray(axis if axis @ (points[-1] - points[0]) >= 0 else -axis)


def _inside(places: Points, shape: tuple[int, ...]) -> int:
    """How many steps ahead stay in the photo."""
    limit = np.array([shape[1] - 1, shape[0] - 1])
    fine = ((places >= 0) & (places <= limit)).all(axis=(1, 2))
    return int(np.argmin(fine)) if not fine.all() else len(fine)


def _walk(patch: Image, px_per_mm: float) -> tuple[NDArray[np.intp], Points, float]:
    """Follow the darkest way out of the patch's middle; darkness along it, and its spread."""
    middle = patch.shape[1] // 2
    level = np.median(patch, axis=1, keepdims=True)
    level = gaussian_filter1d(level, 0.3 * px_per_mm, axis=0, mode="nearest")
    dark = gaussian_filter1d(1 - patch / np.maximum(level, 1.0), 0.025 * px_per_mm, axis=1)
    blurred = uniform_filter1d(dark, max(3, round(0.2 * px_per_mm)), axis=0, mode="nearest")
    steps = np.arange(patch.shape[1]) - middle
    # Start in the middle, and leave it slowly: tips run on, they do not jump.
    guide = blurred - 0.002 * np.abs(steps)
    guide[0] = np.where(np.abs(steps) <= 2, guide[0], -1e3)
    course = follow(guide, stiffness=0.05)
    rows = np.arange(len(patch))
    beside = np.abs(steps[None, :] - (course - middle)[:, None]) > 0.2 * px_per_mm
    spread = 1.4826 * float(np.median(np.abs(blurred[beside]))) if beside.any() else 0.05
    return course, blurred[rows, course], max(spread, 0.02)


def _last_dark(darkness: Points, threshold: float, widest_gap: int) -> int:
    """Last step before the darkness stays below the threshold for longer than the gap."""
    below = 0
    last = 0
    for step, value in enumerate(darkness):
        below = 0 if value >= threshold else below + 1
        if below == 0:
            last = step
        if below > widest_gap:
            break
    return last
