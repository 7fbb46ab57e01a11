"""Blur of a photo in which no scale mark was found, so that nothing better is known."""

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.photo.record import Photo
from damagescore.quality.record import Check

# Focused photos, the project's own and others, read 2.4 to 4 px; twice that is still usable
# where a mark is found, and then the mark itself is judged.
WIDEST_EDGE_PX = 9.0

WINDOW_PX = 61


def blur_check(photo: Photo) -> Check | None:
    """Refuse a photo whose plainest edges are wide; None where they are not."""
    width_px = plainest_edge_px(photo.grey)
    if width_px is None or width_px <= WIDEST_EDGE_PX:
        return None
    return Check(
        name="focus", outcome="refuse", value=width_px, unit="px",
        message=f"The photo is out of focus: its sharpest edges are {width_px:.0f} px wide; "
        f"at most {WIDEST_EDGE_PX:.0f} are wanted: focus on the rubber and hold still.",
    )  # fmt: skip


def plainest_edge_px(grey: NDArray[np.float32]) -> float | None:
    """Width of the plainest edges, px: local range of grey over the steepest slope.

    The width of a straight edge blurred by a gaussian of sigma s is 2.5 s by this
    measure (range over peak slope, sqrt(2 pi) s). None where the photo shows no edge.
    """
    across, down = (cv2.Scharr(grey, cv2.CV_32F, x, 1 - x) for x in (1, 0))
    # Scharr's kernel sums to 32 for a slope of 1 a pixel
    slope = np.asarray(cv2.magnitude(across, down), np.float32) / 32
    # In a small or plain photo the steepest share of it may have no slope at all.
    steep = (slope > 0) & (slope >= np.percentile(slope[::4, ::4], 99.7))
    if not steep.any() or float(slope.max()) < 0.5:
        return None
    window = np.ones((WINDOW_PX, WINDOW_PX), np.uint8)
    spread = cv2.dilate(grey, window) - cv2.erode(grey, window)
    return float(np.percentile(spread[steep] / slope[steep], 20))
