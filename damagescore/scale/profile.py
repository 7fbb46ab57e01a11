"""Grey levels along lines, in light-proportional units, with sub-pixel positions."""

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


def linear_light(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Undo the usual display curve, so that blur is symmetric about an edge.

    Cameras store about the 1/2.2 power of light; an edge blurred by the lens crosses
    half of its light, not half of its stored level.
    """
    share = np.clip(grey, 0, None) / np.float32(255)
    return np.asarray(cv2.pow(share, 2.2), np.float32)


def sample(image: NDArray[np.float32], points: Points) -> NDArray[np.float32]:
    """Bilinear samples at (x, y) points of any shape (..., 2)."""
    shape = points.shape[:-1]
    flat = points.reshape(-1, 2).astype(np.float32)
    rows = int(np.ceil(len(flat) / 8192)) or 1
    padded = np.full((rows * 8192, 2), -1, np.float32)
    padded[: len(flat)] = flat
    maps = padded.reshape(rows, 8192, 2)
    got = cv2.remap(image, maps[..., 0].copy(), maps[..., 1].copy(), cv2.INTER_LINEAR,
                    borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    return np.asarray(got.reshape(-1)[: len(flat)].reshape(shape), np.float32)


def edge_offsets(profiles: NDArray[np.float32], *, step_px: float) -> Points:
    """Where each dark-to-light profile crosses half of its own step.

    Parameters
    ----------
    profiles : ndarray, shape (N, M)
        Light along N lines, dark first, centred on the expected edge.
    step_px : float
        Distance between samples.

    Returns
    -------
    ndarray, shape (N,)
        Offset from the middle sample, px; NaN where no clear crossing is seen.
    """
    count = profiles.shape[1]
    quarter = max(2, count // 4)
    dark = np.median(profiles[:, :quarter], axis=1)
    bright = np.median(profiles[:, -quarter:], axis=1)
    half = (dark + bright) / 2
    above = profiles >= half[:, None]
    crossing = above[:, 1:] & ~above[:, :-1]
    middle = (count - 1) / 2
    distance = np.where(crossing, np.abs(np.arange(count - 1) + 0.5 - middle), np.inf)
    at = np.argmin(distance, axis=1)
    rows = np.arange(len(profiles))
    low, high = profiles[rows, at], profiles[rows, at + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = (at + (half - low) / (high - low) - middle) * step_px
    clear = crossing.any(axis=1) & (bright - dark > 0.3 * np.max(bright - dark))
    return np.where(clear, offset, np.nan)
