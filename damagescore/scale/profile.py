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


def even_steps(reach_px: float, *, step_px: float) -> Points:
    """Places from about -reach to reach with 0 exactly in the middle."""
    count = int(reach_px / step_px)
    return step_px * np.arange(-count, count + 1, dtype=np.float64)


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


def edge_areas(
    profiles: NDArray[np.float32], offsets: Points, *, step_px: float, half_px: float = 2.5
) -> Points:
    """Edge places from the light summed across each edge, near places found before.

    A sharp edge sampled by pixels crosses its half at a place that depends on where the
    pixels lie; the light summed across it does not (each pixel holds the share of its
    area). The levels are read close beside the edge, so that uneven light does no harm.

    Parameters
    ----------
    profiles : ndarray, shape (N, M)
        Light along N lines, dark first, centred on the expected edge.
    offsets : ndarray, shape (N,)
        Places found by `edge_offsets`, px from the middle sample.
    step_px : float
        Distance between samples.
    half_px : float
        Half of the summed stretch; it must hold the whole blur.

    Returns
    -------
    ndarray, shape (N,)
        Offset from the middle sample, px; NaN where the stretch leaves the profile.
    """
    rows, count = profiles.shape
    beside = 1.5
    fine = np.arange(-half_px - beside, half_px + beside + step_px / 4, step_px / 2)
    at = (np.nan_to_num(offsets)[:, None] + fine) / step_px + (count - 1) / 2
    inside = np.isfinite(offsets) & (at[:, 0] >= 0) & (at[:, -1] <= count - 1)
    low = np.clip(np.floor(at).astype(int), 0, count - 2)
    share = np.clip(at - low, 0.0, 1.0)
    which = np.arange(rows)[:, None]
    values = profiles[which, low] * (1 - share) + profiles[which, low + 1] * share
    dark = values[:, fine < -half_px].mean(axis=1)
    bright = values[:, fine > half_px].mean(axis=1)
    core = np.abs(fine) <= half_px + 1e-9
    with np.errstate(divide="ignore", invalid="ignore"):
        level = (values[:, core] - dark[:, None]) / (bright - dark)[:, None]
    summed = np.trapezoid(level, fine[core], axis=1)
    return np.where(inside, offsets + half_px - summed, np.nan)
