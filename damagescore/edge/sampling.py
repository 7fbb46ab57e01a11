"""Grey levels between the pixels."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray


def sample(
    image: NDArray[Any], x: NDArray[Any], y: NDArray[Any], *, nearest: bool = False
) -> NDArray[np.float32]:
    """Image values at pixel places, bilinear or nearest; the border repeats.

    Parameters
    ----------
    image : ndarray, shape (H, W) or (H, W, C)
    x, y : ndarray, shape (h, w)
        Places in pixels; arrays that broadcast to a common 2-D shape.
    nearest : bool

    Returns
    -------
    ndarray of float32, shape (h, w) or (h, w, C)
    """
    x, y = np.broadcast_arrays(x, y)
    taken = cv2.remap(
        np.ascontiguousarray(image, dtype=np.float32),
        np.ascontiguousarray(x, dtype=np.float32),
        np.ascontiguousarray(y, dtype=np.float32),
        cv2.INTER_NEAREST if nearest else cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(taken, dtype=np.float32)


def medians(values: NDArray[np.float32], axis: int) -> NDArray[np.float32]:
    """Median along one axis of finite values, by sorting.

    The same as `numpy.median`, three times as fast for a dozen values.
    """
    ordered = np.moveaxis(np.sort(values, axis=axis), axis, 0)
    low, high = (len(ordered) - 1) // 2, len(ordered) // 2
    return np.asarray((ordered[low] + ordered[high]) / 2, dtype=np.float32)
