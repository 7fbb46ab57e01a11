"""Lines in pixels: places along them."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


def places_along(lines: Iterable[Points], *, step_px: float = 1.0) -> Points:
    """Places along polylines, a step apart, shape (N, 2).

    Parameters
    ----------
    lines : iterable of ndarray, shape (M, 2)
        At least one.
    step_px : float
    """
    pieces = []
    for line in lines:
        points = np.asarray(line, np.float64)
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        at = np.arange(0.0, along[-1] + step_px, step_px)
        pieces.append(np.column_stack([np.interp(at, along, p) for p in points.T]))
    return np.vstack(pieces)
