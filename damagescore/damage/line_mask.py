"""Where a straightened layer holds dark lines that may be cracks."""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter, uniform_filter1d

from damagescore.damage.gates import Gates
from damagescore.damage.ridge import Ridge
from damagescore.edge.sampling import medians
from damagescore.ranks import median
from damagescore.runs import runs_of_true

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

FEWER = 4
"""Medians over rows of thousands of samples are as good from every fourth."""


MOULD_WINDOW = 31
"""Millimetres over which a mould line keeps its course and its darkness."""

CRACK_DARK = 0.6
"""No mould line is as dark: the shadow beside a ridge is open to light."""


def line_mask(
    ridge: Ridge, core: Image, judged: Mask, *, gates: Gates, px_per_mm: float
) -> Mask:
    """Dark lines of a layer, without those that its mould drew.

    Parameters
    ----------
    ridge : Ridge
    core : ndarray of float32
        Relative darkness, a little smoothed.
    judged : ndarray of bool
    gates : Gates
    px_per_mm : float
    """
    mask = _grown(ridge, core, gates) & judged
    mask &= ~_mould_lines(ridge, core, px_per_mm)
    return _solid(mask, px_per_mm)


def _grown(ridge: Ridge, core: Image, gates: Gates) -> Mask:
    """Line-like places, carried on from the plain ones over weaker ones."""
    sharp = (ridge.z > 1.4 * gates.z_grow) & (core > 0.5 * gates.dark_grow)
    found = _hysteresis(ridge.z, gates.z_grow, gates.z_seed)
    found &= (core > gates.dark_grow) | sharp
    # What hangs together with a found line needs less of its own.
    own = float(np.quantile(core[found], 0.75)) if found.any() else 1.0
    dark = max(0.5 * gates.dark_grow, 2.5 * _spread(core), 0.2 * own)
    weaker = (ridge.z > 0.6 * gates.z_grow) & (core > dark)
    return _reached(found | weaker, found)


def _reached(mask: Mask, start: Mask) -> Mask:
    """Pieces of a mask that hold a place of `start`."""
    _, label = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    held = np.unique(label[start])
    return np.asarray(np.isin(label, held[held > 0]))


def _hysteresis(image: Image, low: float, high: float) -> Mask:
    """Places above `low` that hang together with one above `high`."""
    return _reached(image > low, image > high)


def _solid(mask: Mask, px_per_mm: float) -> Mask:
    """Fill pinholes: a stroke with one would thin to two strands."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(
        (~mask).astype(np.uint8), connectivity=4
    )
    hole = stats[:, cv2.CC_STAT_AREA] < (0.15 * px_per_mm) ** 2
    hole[0] = False
    return np.asarray(mask | hole[label])


def _mould_lines(ridge: Ridge, core: Image, px_per_mm: float) -> Mask:
    """Where a weak straight line runs along most of the layer: mould flash.

    A row counts when at least three tenths of its length are darker than both
    sides once averaged over 2 mm along, a little above or below. What is darker
    there than the line usually is near by, a crack that meets it, stays.
    """
    along = _mean_along(ridge.dark, 2 * px_per_mm)
    step = max(2, round(0.2 * px_per_mm))
    above, below = np.roll(along, step, axis=0), np.roll(along, -step, axis=0)
    stands_out = (along - np.maximum(above, below)) > max(0.04, 0.6 * ridge.noise)
    # What is as dark as a crack, and its flanks, are not counted.
    reach = 2 * max(1, round(0.2 * px_per_mm)) + 1
    short = _mean_along(ridge.dark, 0.4 * px_per_mm)
    usual = medians(short[:, ::FEWER], 1)[:, None]
    crossing = short - usual > max(0.35, 3.5 * _spread(short))
    stroke = ((core > CRACK_DARK) | crossing).astype(np.uint8)
    deep = cv2.dilate(stroke, np.ones((reach, reach), np.uint8)) > 0
    share = (stands_out & ~deep).mean(axis=1)
    drawn = uniform_filter1d((share > 0.3).astype(float), 3) > 0
    drawn[:step] = drawn[-step:] = False
    found = np.asarray(drawn[:, None] & ~deep)
    for first, last in runs_of_true(drawn):
        found |= _along_course(along, core, slice(first, last), px_per_mm)
    return found


def _along_course(along: Image, core: Image, rows: slice, px_per_mm: float) -> Mask:
    """The line's stroke where it is about as dark as it usually is within 15 mm.

    Its course is the darkest row of every millimetre, smoothed over 30 mm: a mould
    line bends with its layer, and no faster.
    """
    height, columns = core.shape
    margin = round(0.12 * px_per_mm)
    top, bottom = max(0, rows.start - margin), min(height, rows.stop + margin)
    at = np.arange(0, columns, max(1, round(px_per_mm)))
    course = top + np.argmax(along[top:bottom, at], axis=0)
    course = median_filter(course, size=MOULD_WINDOW, mode="nearest")
    smooth = np.interp(np.arange(columns), at, gaussian_filter1d(course.astype(float), 2.0))
    middle = np.round(smooth).astype(int)
    darkness = np.max(
        [core[np.clip(middle + k, 0, height - 1), np.arange(columns)] for k in (-1, 0, 1)],
        axis=0,
    )
    usual = np.interp(
        np.arange(columns), at, median_filter(darkness[at], size=MOULD_WINDOW, mode="nearest")
    )
    above = np.abs(darkness - usual)
    most = np.minimum(usual + max(0.12, 3 * 1.4826 * float(np.median(above))), CRACK_DARK)
    near = np.abs(np.arange(height)[:, None] - smooth) <= max(1.5, 0.16 * px_per_mm)
    return np.asarray(near & (core <= most))


def _mean_along(image: Image, length_px: float) -> Image:
    size = max(3, round(length_px))
    return np.asarray(cv2.blur(image, (size, 1), borderType=cv2.BORDER_REFLECT))


def _spread(image: Image) -> float:
    """Robust spread about the median of each row."""
    some = image[:, ::FEWER]
    away = np.abs(some - medians(some, 1)[:, None])
    return 1.4826 * median(away)
