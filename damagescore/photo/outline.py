"""Outlines in pixels: what lies inside them."""

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


def fill_outline(
    target: NDArray[np.int16] | NDArray[np.uint8], polygon: Points, value: int
) -> None:
    """Set all pixels of an array that lie inside an outline, shape (N, 2) px."""
    # cv2 takes fixed-point coordinates: 4 fractional bits keep 1/16 px.
    fixed = np.round(polygon * 16).astype(np.int32).reshape(-1, 1, 2)
    cv2.fillPoly(target, [fixed], (value,), shift=4)


def signed_area(outline: Points) -> float:
    """Area inside an outline, shape (N, 2), by the shoelace formula; its sign tells the turn.

    Positive for one that runs clockwise on the screen, where y points down.
    """
    x, y = outline.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def inside_outline(points_px: Points, polygon: Points) -> NDArray[np.bool_]:
    """Whether points (N, 2) lie inside a closed outline (M, 2): even-odd rule."""
    x, y = points_px[:, 0:1], points_px[:, 1:2]
    (x0, y0), (x1, y1) = polygon.T, np.roll(polygon, -1, axis=0).T
    crossed = (y0 > y) != (y1 > y)
    rise = np.where(y1 == y0, 1.0, y1 - y0)
    left = x < x0 + (y - y0) / rise * (x1 - x0)
    return np.asarray((crossed & left).sum(axis=1) % 2 == 1)
