"""Where a branch leaves its main path."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Points = NDArray[np.float64]


def leave_stroke(branch: Points, main: Points, *, reach_px: float) -> Points:
    """The part of a branch beyond the last point inside the main path's own stroke.

    Inside it the darkness belongs to both, and the branch cannot be centred.
    """
    inside = cKDTree(main).query(branch)[0] < reach_px
    last = int(np.flatnonzero(inside)[-1]) if inside.any() else -1
    return branch[last + 1 :]


def joined_to(branch: Points, main: Points, *, reach_px: float) -> Points:
    """Lengthen a branch backwards, straight on, to the middle of its main path.

    Joins at the main path's vertex nearest to the backward tangent, within
    `reach_px`; at the nearest vertex where the tangent misses.
    """
    n_aim = min(8, len(branch) - 1)
    aim = branch[0] - branch[n_aim]
    aim = aim / max(float(np.hypot(*aim)), 1e-9)
    away = main - branch[0]
    ahead = away @ aim
    distance = np.hypot(*away.T)
    beside = np.sqrt(np.maximum(distance**2 - ahead**2, 0.0))
    fit = (ahead > 0) & (distance <= reach_px)
    # Near the tangent first, then near the branch: a shallow fork meets many vertices.
    cost = np.where(fit, beside + 0.25 * distance, np.inf)
    foot = int(np.argmin(cost)) if fit.any() else int(np.argmin(distance))
    return np.vstack([main[foot], branch])
