"""Polylines: how far their points lie along them, and places along them."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


def run_of(line: Points) -> Points:
    """Distance of every point of a polyline from the first one, along it."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def at_run(line: Points, run: Points) -> Points:
    """Places at distances along a polyline, shape (N, 2); its ends where these lie beyond."""
    own = run_of(line)
    return np.column_stack([np.interp(run, own, column) for column in line.T])


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
        pieces.append(at_run(points, np.arange(0.0, run_of(points)[-1] + step_px, step_px)))
    return np.vstack(pieces)
