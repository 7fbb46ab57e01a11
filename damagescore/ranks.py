"""Median, quantile and median slope of plain arrays.

NumPy's own take 25 to 50 µs to begin; sorting a few thousand values takes less than that.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def median(values: NDArray[Any]) -> float:
    """The same as `numpy.median` of all values, which must not hold NaN."""
    ordered = np.sort(values, axis=None)
    low, high = ordered[(len(ordered) - 1) // 2], ordered[len(ordered) // 2]
    if ordered.dtype.kind != "f":  # two whole numbers may not fit their sum
        return (float(low) + float(high)) / 2
    return float((low + high) / 2)


def quantile(values: NDArray[np.floating], share: float) -> float:
    """The same as `numpy.quantile` of all values, which must not hold NaN.

    Linear between ranks (Hyndman & Fan 1996, definition 7), in the precision of the values.
    """
    ordered = np.sort(values, axis=None)
    at = share * (len(ordered) - 1)
    rank = int(at)
    low, high = ordered[rank], ordered[min(rank + 1, len(ordered) - 1)]
    part = at - rank
    # From the nearer of both, so that the result never leaves their range.
    near = low + (high - low) * part if part < 0.5 else high - (high - low) * (1 - part)
    return float(near)


def median_slope(
    x: NDArray[Any], y: NDArray[Any], *, least: float = 0.0
) -> NDArray[np.float64]:
    """Slope of y over x that a few wrong points do not steer.

    The median of the slopes between all pairs of points (Theil 1950, Sen 1968).

    Parameters
    ----------
    x : ndarray, shape (N,)
        Places.
    y : ndarray, shape (..., N)
        Values; each row has a slope of its own.
    least : float
        Pairs that lie no farther apart than this in x do not count.

    Returns
    -------
    ndarray, shape (...)
        0 where no pair counts.
    """
    i, j = np.triu_indices(len(x), k=1)
    far = np.abs(x[j] - x[i]) > least
    i, j = i[far], j[far]
    if not len(i):
        return np.zeros(np.shape(y)[:-1])
    return np.asarray(np.median((y[..., j] - y[..., i]) / (x[j] - x[i]), axis=-1))
