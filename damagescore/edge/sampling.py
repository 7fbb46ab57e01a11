"""Grey levels between the pixels."""

from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

MOST_COMPARED = 16
"""Up to so many values, comparing whole arrays is faster than sorting."""


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
    whole = nearest and image.dtype == bool  # needs no single precision
    taken = cv2.remap(
        image.view(np.uint8) if whole else np.ascontiguousarray(image, dtype=np.float32),
        np.ascontiguousarray(x, dtype=np.float32),
        np.ascontiguousarray(y, dtype=np.float32),
        cv2.INTER_NEAREST if nearest else cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(taken, dtype=np.float32)


def sample_part(image: NDArray[Any], x: NDArray[Any], y: NDArray[Any]) -> NDArray[np.float32]:
    """The same as `sample`, bilinear, for places in a small part of a large image.

    Only that part is taken to single precision.
    """
    height, width = image.shape[:2]
    x0, x1 = (int(np.clip(n, 0, width - 1)) for n in (x.min() - 1, x.max() + 2))
    y0, y1 = (int(np.clip(n, 0, height - 1)) for n in (y.min() - 1, y.max() + 2))
    return sample(image[y0 : y1 + 1, x0 : x1 + 1], x - x.dtype.type(x0), y - y.dtype.type(y0))


def medians(values: NDArray[np.float32], axis: int) -> NDArray[np.float32]:
    """Median along one axis of finite values, by sorting.

    The same as `numpy.median`, many times as fast for a dozen values or fewer.
    """
    if values.shape[axis] <= MOST_COMPARED:
        ordered = _sorted_by_pairs(list(np.array(np.moveaxis(values, axis, 0), order="C")))
    else:
        ordered = list(np.moveaxis(np.sort(values, axis=axis), axis, 0))
    low, high = (len(ordered) - 1) // 2, len(ordered) // 2
    return np.asarray((ordered[low] + ordered[high]) / 2, dtype=np.float32)


def _sorted_by_pairs(parts: list[NDArray[np.float32]]) -> list[NDArray[np.float32]]:
    """Arrays of one shape, the values at each place sorted from array to array, in place."""
    spare = np.empty_like(parts[0])
    for i, j in exchanges(len(parts)):
        low, high = parts[i], parts[j]
        np.minimum(low, high, out=spare)
        np.maximum(low, high, out=high)
        parts[i], spare = spare, low
    return parts


@cache
def exchanges(count: int) -> tuple[tuple[int, int], ...]:
    """Pairs (i, j), i < j, to be put in order one after the other so that all are.

    Batcher's merge exchange: 41 pairs for a dozen, where neighbours in turn would take 66
    (Knuth, The Art of Computer Programming 3, section 5.2.2, algorithm M; from memory).
    """
    largest = 1 << max(count - 1, 0).bit_length() >> 1
    pairs = []
    p = largest
    while p:
        q, r, d = largest, 0, p
        while d:
            pairs += [(i, i + d) for i in range(count - d) if i & p == r]
            # The last round of this p is that in which q has come down to it.
            d, q, r = (q - p, q >> 1, p) if q != p else (0, q, r)
        p >>= 1
    return tuple(pairs)
