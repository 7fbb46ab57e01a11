"""The part's outline against the background, seen along the exposed edge."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
Outward = Literal["right", "left", "down", "up"]

NOTHING_SEEN_PX = 9.0
"""Noise of an outline that was seen nowhere: more than any that is used."""


@dataclass(frozen=True, kw_only=True)
class Turned:
    """The photo turned or mirrored so that the part's outside is to the right.

    `rgb` (H, W, 3) uint8; `outward` says where the outside is in the photo.
    """

    rgb: NDArray[np.uint8]
    outward: Outward

    def to_photo(self, points: Points) -> Points:
        """Photo pixels of turned pixels, shape (N, 2)."""
        x, y = np.asarray(points, np.float64).T
        width = self.rgb.shape[1]
        if self.outward == "right":
            return np.column_stack([x, y])
        if self.outward == "left":
            return np.column_stack([width - 1 - x, y])
        if self.outward == "down":
            return np.column_stack([y, x])
        return np.column_stack([y, width - 1 - x])


def turned_array(array: NDArray[np.generic], outward: Outward) -> NDArray[np.generic]:
    """Turn or mirror an image so that `outward` becomes right."""
    if outward == "right":
        return array
    if outward == "left":
        return array[:, ::-1]
    swapped = array.swapaxes(0, 1)
    return swapped if outward == "down" else swapped[:, ::-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Where an outline may run in the turned photo: x (N,) at rows (N,); how clearly."""

    rows: Points
    x: Points
    outward: Outward
    clear: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """The outline to a fraction of a pixel, in the turned photo.

    `rows` (N,) successive integers, `x` (N,), NaN where it could not be located;
    `noise_px` the robust row-to-row noise.
    """

    rows: Points
    x: Points
    noise_px: float


def filled(outline: Outline) -> Points:
    """Outline x with the unknown rows bridged."""
    known = np.isfinite(outline.x)
    return np.interp(outline.rows, outline.rows[known], outline.x[known])
