"""QR codes in a photo."""

import cv2
import numpy as np
from numpy.typing import NDArray

SIDES_PX = (1200, 1600, 2400, 4000)
"""Longest sides at which a photo is searched: a code out of focus is read where it is small,
one far away where it is large."""


def read_codes(grey: NDArray[np.uint8]) -> tuple[str, ...]:
    """Texts of all QR codes that can be read in a photo, each once, in alphabetical order.

    Both detectors of the OpenCV library are asked at all sizes, since each reads codes at a
    slant or out of focus that the other does not, and a second card must not be overlooked.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
    """
    detectors = (cv2.QRCodeDetectorAruco(), cv2.QRCodeDetector())
    longest = max(grey.shape)
    sides = [s for s in SIDES_PX if s < longest]
    sides.append(min(longest, SIDES_PX[-1]))
    reduced = [_reduced(grey, side) for side in sides]
    return tuple(sorted({t for image in reduced for d in detectors for t in _texts(d, image)}))


def _reduced(grey: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    share = side / max(grey.shape)
    if share >= 1:
        return grey
    size = (max(1, round(grey.shape[1] * share)), max(1, round(grey.shape[0] * share)))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)


def _texts(
    detector: "cv2.QRCodeDetectorAruco | cv2.QRCodeDetector", grey: NDArray[np.uint8]
) -> list[str]:
    try:
        _, texts, _, _ = detector.detectAndDecodeMulti(grey)
    except (cv2.error, UnicodeDecodeError):
        # The library raises on some patterns that are no code; then there is none to read.
        return []
    return [t for t in texts if t]
