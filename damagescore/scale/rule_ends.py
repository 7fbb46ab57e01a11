"""The line on which the graduations of a rule end, below a pixel."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.scale.profile import sample

Points = NDArray[np.float64]

STEP_PX = 0.5

BESIDE = 0.4
"""Where the bare rule is read beside a graduation, in pitches."""

LEAST_ENDS = 6

U_END_PX = 0.3
"""Standard uncertainty of where the line lies at either of its ends that all graduations
share: what lies behind the rule bleeds into it on one side more than on the other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndLine:
    """Two points of the line, in the order of the graduations, and how sure its turn is.

    They are as a lens without distortion gives them.
    """

    points_px: Points
    u_turn_rad: float


def end_line(
    light: NDArray[np.float32],
    *,
    base: Points,
    along: Points,
    across: Points,
    ticks: list[tuple[Points, Points]],
    ideal: Callable[[Points], Points],
    pitch_px: float,
    short_px: float,
) -> EndLine:
    """Where graduations stop being darker than the rule beside them, as one straight line.

    Each is followed from its middle towards its base end until half of its contrast is
    gone.

    Parameters
    ----------
    light : ndarray, shape (H, W)
        Linear light.
    base, along, across : ndarray, shape (2,)
        A point near the line, and unit vectors along it and along the graduations.
    ticks : list of (s, t)
        Places of each graduation's middle line, px along and across from `base`.
    ideal : callable
        Takes places in the photo to those of a lens without distortion, shape (N, 2).
    pitch_px, short_px : float
        From graduation to graduation, and the length of the short ones.
    """
    t = np.arange(-0.3 * short_px, 0.5 * short_px, STEP_PX)
    lines = np.array([np.polyfit(depth, s, 1) for s, depth in ticks])
    s = lines[:, :1] * t + lines[:, 1:]
    shifts = np.array([-BESIDE, 0.0, BESIDE]) * pitch_px
    at = s[..., None] + shifts
    seen = sample(light, base + at[..., None] * along + t[:, None, None] * across)
    contrast = seen[..., ::2].mean(axis=-1) - seen[..., 1]
    level = np.median(contrast[:, t > 0.2 * short_px], axis=1, keepdims=True)
    gone = (contrast < 0.5 * level) & (t < 0.2 * short_px)
    ended = gone.any(axis=1)
    last = gone.shape[1] - 1 - np.argmax(gone[:, ::-1], axis=1)
    rows = np.arange(len(last))
    inner = np.minimum(last + 1, len(t) - 1)
    low, high = contrast[rows, last], contrast[rows, inner]
    share = (0.5 * level[:, 0] - low) / np.where(high > low, high - low, np.inf)
    end_t = t[last] + STEP_PX * share
    end_s = lines[:, 0] * end_t + lines[:, 1]
    ends = base + end_s[ended, None] * along + end_t[ended, None] * across
    off = ideal(ends) - base
    return _straight(off @ along, off @ across, base=base, along=along, across=across)


def _straight(s: Points, t: Points, *, base: Points, along: Points, across: Points) -> EndLine:
    """A line through most of the ends; along the row, and unsure, where few were seen."""
    slope, level, spread, keep = 0.0, 0.0, math.inf, np.ones(len(s), dtype=bool)
    if len(s) >= LEAST_ENDS:
        level = float(np.median(t))
        keep = np.abs(t - level) < np.abs(s - np.median(s)) * 0.05 + 5.0
        for _ in range(4):
            if keep.sum() < LEAST_ENDS:
                break
            slope, level = np.polyfit(s[keep], t[keep], 1)
            misfit = t - slope * s - level
            spread = 1.4826 * float(np.median(np.abs(misfit[keep])))
            keep = np.abs(misfit) < max(3 * spread, 0.2)
    ends = np.array([s.min(), s.max()]) if len(s) else np.array([0.0, 1.0])
    reach = float(np.ptp(ends))
    points = base + ends[:, None] * along + (slope * ends + level)[:, None] * across
    if keep.sum() < LEAST_ENDS or not math.isfinite(spread):
        return EndLine(points_px=points, u_turn_rad=math.inf)
    by_scatter = spread / (math.sqrt(keep.sum()) * float(np.std(s[keep])))
    return EndLine(
        points_px=points, u_turn_rad=math.hypot(by_scatter, math.sqrt(2) * U_END_PX / reach)
    )
