"""Random textures at any scale, built small and enlarged."""

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]


def smooth_noise(
    rng: np.random.Generator,
    shape: tuple[int, int],
    *,
    scale_px: float,
    stretch: float = 1.0,
) -> Field:
    """Gaussian noise of unit spread whose features are about `scale_px` wide.

    Parameters
    ----------
    rng : numpy.random.Generator
    shape : tuple of int
        (rows, columns) wanted.
    scale_px : float
        Feature size down the columns.
    stretch : float
        How many times longer the features are along the rows.

    Returns
    -------
    ndarray, shape (rows, columns), float32
    """
    rows = max(2, int(np.ceil(shape[0] / scale_px)) + 2)
    cols = max(2, int(np.ceil(shape[1] / (scale_px * stretch))) + 2)
    coarse = rng.standard_normal((rows, cols), dtype=np.float32)
    if rows >= shape[0] and cols >= shape[1]:
        return coarse[: shape[0], : shape[1]]
    fine = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(fine / np.float32(max(float(fine.std()), 1e-6)), np.float32)


def fractal_noise(
    rng: np.random.Generator,
    shape: tuple[int, int],
    *,
    scale_px: float,
    octaves: int = 4,
    gain: float = 0.55,
    stretch: float = 1.0,
) -> Field:
    """Sum of octaves of `smooth_noise`, each half the size and `gain` times the strength."""
    total = np.zeros(shape, np.float32)
    power = 0.0
    for octave in range(octaves):
        weight = gain**octave
        part = smooth_noise(
            rng, shape, scale_px=max(1.0, scale_px / 2**octave), stretch=stretch
        )
        total += np.float32(weight) * part
        power += weight**2
    total /= np.float32(np.sqrt(power))
    return total


def line_noise(
    rng: np.random.Generator, count: int, *, scale: float, octaves: int = 3
) -> NDArray[np.float64]:
    """One row of fractal noise of unit spread, features about `scale` samples long."""
    shape = (3, count)
    field = np.zeros(shape, np.float32)
    for octave in range(octaves):
        length = max(1.0, scale / 2**octave)
        coarse = rng.standard_normal((1, max(2, int(np.ceil(count / length)) + 3)))
        row = cv2.resize(
            np.repeat(coarse.astype(np.float32), 3, axis=0),
            (count, 3),
            interpolation=cv2.INTER_CUBIC,
        )
        field += np.float32(0.5**octave) * row
    return np.asarray(field[1] / np.sqrt(sum(0.25**k for k in range(octaves))), np.float64)


def wide_blur(image: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """Gaussian blur that stays quick for a large sigma by working on a smaller copy."""
    step = max(1, int(sigma_px / 3.0))
    if step == 1:
        return np.asarray(cv2.GaussianBlur(image, (0, 0), sigma_px), np.float32)
    size = (image.shape[1], image.shape[0])
    small = cv2.resize(
        image, (max(1, size[0] // step), max(1, size[1] // step)), interpolation=cv2.INTER_AREA
    )
    small = cv2.GaussianBlur(small, (0, 0), sigma_px / step)
    return np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_LINEAR), np.float32)
