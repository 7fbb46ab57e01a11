"""How surely an outline is located: by the contrast of what lies on both its sides."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from damagescore.edge.sampling import sample_part
from damagescore.photo.record import Photo
from damagescore.quantity import rectangular

Points = NDArray[np.float64]

REACH_PX, FIRST_PX, LAST_PX = 12, 3, 8
"""Pixels sampled on both sides, and those from which each side's colour is taken."""

WIDTH_PX = 2.5
"""Full contrast over the steepest slope of a blurred outline: sqrt(2 pi) times a usual
blur of 1 px."""

LEAST_LEVEL_PX = 0.15
"""Half width of what the half-way level may shift the outline by at the best contrast."""

CHANGE_SHARE = 1.0
"""Share of the change of both sides beside the outline by which the level may be off."""

MOST_LEVEL_PX, LEAST_CONTRAST = 4.0, 2.0
"""Half width where nothing is seen, and grey levels below which nothing is."""

AROUND_ROWS = 1.5


def level_doubt(photo: Photo, outline: Points, inner_px: Points) -> Points:
    """Uncertainty of each outline point's place from the colours on both its sides, pixels.

    The outline lies half way between the colours taken for part and background: an error of
    these shifts it by half of that over the slope. What it may be is told by how much each
    side changes beside the outline. Neighbouring points share it.

    Parameters
    ----------
    photo : Photo
    outline : ndarray, shape (N, 2)
    inner_px : ndarray, shape (2,)
        A point inside the part.

    Returns
    -------
    ndarray, shape (N,)
        Standard uncertainties.
    """
    strip = _across(photo, outline, inner_px)
    inside = strip[:, REACH_PX - LAST_PX : REACH_PX - FIRST_PX + 1]
    outside = strip[:, REACH_PX + FIRST_PX : REACH_PX + LAST_PX + 1]
    step = inside.mean(axis=1) - outside.mean(axis=1)
    contrast = np.linalg.norm(gaussian_filter1d(step, AROUND_ROWS, axis=0), axis=1)
    slope = np.maximum(contrast, LEAST_CONTRAST) / WIDTH_PX
    change = np.hypot(_change(inside), _change(outside))
    half = LEAST_LEVEL_PX + CHANGE_SHARE * change / slope
    return np.asarray(rectangular(1.0) * np.minimum(half, MOST_LEVEL_PX))


def _across(photo: Photo, outline: Points, inner_px: Points) -> Points:
    """Colours (N, K, 3) across the outline, from inside outwards, less their noise."""
    chord = outline[-1] - outline[0]
    normal = np.array([-chord[1], chord[0]]) / (np.hypot(*chord) + 1e-12)
    if (inner_px - outline.mean(axis=0)) @ normal > 0:
        normal = -normal
    k = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float64)
    strip = sample_part(
        photo.rgb,
        outline[:, 0][:, None] + k * normal[0],
        outline[:, 1][:, None] + k * normal[1],
    )
    return np.asarray(uniform_filter1d(strip.astype(np.float64), 3, axis=0, mode="nearest"))


def _change(side: Points) -> Points:
    """How far the near and the far half of a side (N, K, 3) differ in colour."""
    half = side.shape[1] // 2
    change = side[:, :half].mean(axis=1) - side[:, half:].mean(axis=1)
    return np.asarray(np.linalg.norm(gaussian_filter1d(change, AROUND_ROWS, axis=0), axis=1))
