"""Where the rubber beyond the outermost shims ends."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from damagescore.edge.bands import Boxes, known_quantile, known_quantiles, profile_noise
from damagescore.edge.chain import LIKENESS, RUBBER_MM
from damagescore.edge.straighten import Profiles

Points = NDArray[np.float64]


def end_of_rubber(
    profiles: Profiles,
    shims: tuple[tuple[float, float], ...],
    *,
    mm_per_px: float,
    downwards: bool,
) -> float | None:
    """Level at which the rubber beyond the last shim ends.

    Weighs for each strong step: how strong it is in all channels, how well it
    parts what looks like the rubber between shims from what does not, and how
    near the layer's thickness is to that of the others.
    """
    turned = profiles if downwards else _upside_down(profiles)
    sign = 1.0 if downwards else -1.0
    ordered = [(sign * m, t) for m, t in (shims if downwards else reversed(shims))]
    last, thickness = ordered[-1]
    usual = (ordered[-1][0] - ordered[0][0]) / max(len(ordered) - 1, 1) - thickness
    start = last + thickness / 2
    known_pitch = len(ordered) > 1
    span = (
        (0.5 * usual, 1.6 * usual) if known_pitch else tuple(x / mm_per_px for x in RUBBER_MM)
    )
    levels = turned.levels_px - start
    inside = (levels > span[0]) & (levels < span[1])
    if not inside.any():
        return None
    worth = _end_worth(turned, levels, mm_per_px)
    if known_pitch:
        worth -= 2.0 * (np.log(np.maximum(levels, 1.0) / usual) / 0.2) ** 2
    worth[~inside] = -math.inf
    return sign * float(turned.levels_px[int(np.argmax(worth))])


def _upside_down(profiles: Profiles) -> Profiles:
    return Profiles(
        levels_px=-profiles.levels_px[::-1],
        s_px=profiles.s_px,
        values=profiles.values[::-1],
    )


def _end_worth(profiles: Profiles, levels: Points, mm_per_px: float) -> Points:
    rows_per_mm = 1.0 / (profiles.step_px * mm_per_px)
    noise = profile_noise(profiles)
    step = _steps(profiles, noise, rows_per_mm)
    unlike = _unlikeness(profiles, levels, rows_per_mm)
    # Change point: all rows up to the end like rubber, those after it unlike.
    near = (levels > 0.15 / mm_per_px) & np.isfinite(unlike)
    before = np.cumsum(np.where(near, unlike - 1.0, 0.0)) / rows_per_mm
    return 2.0 * np.log1p(step) - 1.5 * before


def _steps(profiles: Profiles, noise: Points, rows_per_mm: float) -> Points:
    """Strength of the common step at each row, over the noise."""
    boxes = Boxes.of(profiles.values)
    above = boxes.means(-0.25 * rows_per_mm, -0.08 * rows_per_mm)
    below = boxes.means(0.08 * rows_per_mm, 0.25 * rows_per_mm)
    change = (below - above) / noise
    middle, low, high = known_quantiles(change, (0.5, 0.25, 0.75))
    weakest = np.where(middle > 0, low, high)
    common = np.where(middle * weakest > 0, (middle + weakest) / 2, 0.0)
    return np.asarray(gaussian_filter1d(np.sqrt((np.nan_to_num(common) ** 2).sum(axis=1)), 0.5))


def _unlikeness(profiles: Profiles, levels: Points, rows_per_mm: float) -> Points:
    """How unlike the rubber next to the last shim each row is, 0 to 2."""
    near = (levels > 0.15 * rows_per_mm * profiles.step_px) & (
        levels < 0.6 * rows_per_mm * profiles.step_px
    )
    rubber = known_quantile(profiles.values[near].transpose(1, 0, 2), 0.5)
    apart = np.sqrt((((profiles.values - rubber) / LIKENESS) ** 2).sum(axis=2))
    return np.minimum(known_quantile(apart, 0.5), 2.0)
