"""How much of a line might as well be the surface's own dark drawing."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from damagescore.damage.centreline import resample
from damagescore.damage.surround import AROUND_MM, Surround
from damagescore.damage.tips import LEAST_DARKNESS, chance_contrast, line_contrast

Points = NDArray[np.float64]

SURE = 2.0
"""Times what sound places near by show by chance: a line this plain is in no doubt."""

STEADY_MM = 0.8


def doubtful_px(around: Surround, lines: list[Points]) -> float:
    """Length on which lines stand out too little from the surface round them.

    Parameters
    ----------
    around : Surround
    lines : list of ndarray, shape (N, 2)
        Photo pixels.

    Returns
    -------
    float
        Photo pixels; 0 on smooth rubber. What looks best to a walk on sound places
        within `AROUND_MM` is the measure, so the rougher a surface is, the more is in doubt.
    """
    return sum(_doubtful_px(around, line) for line in lines)


def _doubtful_px(around: Surround, line: Points) -> float:
    even = resample(line, step_px=max(1.0, 0.04 * around.px_per_mm))
    if len(even) < 6:
        return 0.0
    step = float(np.hypot(*(even[1] - even[0])))
    seen = line_contrast(around, even)
    steady = uniform_filter1d(seen, max(3, round(STEADY_MM * around.px_per_mm / step)))
    apart = 2 * AROUND_MM * around.px_per_mm / step
    count = 1 + round(len(even) / apart)
    at = ((np.arange(count) + 0.5) * len(even) / count).astype(int)
    way = np.gradient(even, axis=0)[at]
    by_chance = [
        chance_contrast(around, place, float(np.arctan2(dy, dx)))
        for place, (dx, dy) in zip(even[at], way, strict=True)
    ]
    usual = np.maximum(np.interp(np.arange(len(even)), at, by_chance), LEAST_DARKNESS)
    return float(np.sum(steady < SURE * usual)) * step
