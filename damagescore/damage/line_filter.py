"""Long, narrow second-difference filters at many angles, on whole numbers for speed."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.ranks import median

Image = NDArray[np.float32]
Whole = NDArray[np.int16]
Mask = NDArray[np.bool_]
Indices = NDArray[np.intp]

ORIENTATIONS = 12
"""Steps of 15 degrees; a filter three times as long as wide answers to 18 either side."""

AHEAD = np.array([-3.0, -1.5, 0.0, 1.5, 3.0])
"""Places along a line, in spreads: a Gaussian looked at every 1.5 spreads has no gaps."""

SIDE = 2.5
"""The sides are looked at this many spreads beside the line."""

STEPS = 4096
"""Whole steps in a darkness of 1: five places added still fit 16 bits, and a step is far
below the grain."""

LEAST_SPREAD_PX = 0.9
"""Narrower filters would see single pixels."""

ENOUGH_SPREAD_PX = 1.6
"""A filter of twice this spread or more works on a grid of half the fineness."""

SAMPLES = 4_000
"""Places that the robust level and spread of a response are taken from: good to 2 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What one filter size says; both arrays have the image's shape.

    `z` is the strongest answer over the angles in robust spreads of the filter at that
    angle over the sound rubber; `contrast` the strongest answer itself, in units of darkness.
    """

    z: Image
    contrast: Image


def line_answer(dark: Image, judged: Mask, *, spread_px: float) -> Answer:
    """Strongest answer of a line filter over all angles.

    The answer is the mean along a line minus the darker of its two sides, so that a
    step (a shadow's edge, a shim's rim) gives nothing. Each angle is divided by its own
    robust spread: a surface with lines of its own, as a moulded one, answers at one angle
    everywhere, and there only what exceeds the usual counts.

    Parameters
    ----------
    dark : ndarray of float32, shape (rows, columns)
        Relative darkness, -1 to 1.
    judged : ndarray of bool, same shape
        Where the robust spreads are taken.
    spread_px : float
        Cross-wise spread of the filter, samples.

    Notes
    -----
    The filter runs on the coarsest grid (halved by twos) on which it still spreads over
    `ENOUGH_SPREAD_PX` samples: a wide line does not need the fine one.
    """
    halvings = max(0, int(math.log2(spread_px / ENOUGH_SPREAD_PX)))
    if halvings == 0 or min(dark.shape) < 4 << halvings:
        return _answer(dark, judged, max(LEAST_SPREAD_PX, spread_px))
    rows, columns = dark.shape
    size = (max(2, columns >> halvings), max(2, rows >> halvings))
    coarse = cv2.resize(dark, size, interpolation=cv2.INTER_AREA)
    known = cv2.resize(judged.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    found = _answer(np.asarray(coarse, np.float32), known, spread_px / 2**halvings)
    z, contrast = (
        np.asarray(cv2.resize(x, (columns, rows), interpolation=cv2.INTER_LINEAR), np.float32)
        for x in (found.z, found.contrast)
    )
    return Answer(z=z, contrast=contrast)


def _answer(dark: Image, judged: Mask, spread: float) -> Answer:
    places = _some(judged)
    z = np.full(dark.shape, -np.inf, np.float32)
    contrast = np.full(dark.shape, np.iinfo(np.int16).min, np.int16)
    score = np.empty_like(z)
    for response in responses(dark, spread):
        level, unit = _robust(response.ravel()[places])
        np.multiply(response, np.float32(1 / unit), out=score)
        score -= np.float32(level / unit)
        np.maximum(z, score, out=z)
        np.maximum(contrast, response, out=contrast)
    return Answer(z=z, contrast=contrast * np.float32(1 / (STEPS * len(AHEAD))))


def responses(dark: Image, spread: float) -> Iterator[Whole]:
    """Answers of the filter, one an angle, in steps of 1 / (STEPS * len(AHEAD))."""
    smooth = cv2.GaussianBlur(dark, (0, 0), spread)
    reach = math.ceil(AHEAD[-1] * spread) + math.ceil(SIDE * spread) + 2
    whole = np.clip(smooth * STEPS, -STEPS, STEPS).astype(np.int16)
    padded = np.pad(whole, reach)
    for turn in range(ORIENTATIONS):
        yield _response(padded, turn * math.pi / ORIENTATIONS, spread, reach)


def _response(padded: Whole, angle: float, spread: float, reach: int) -> Whole:
    c, s = math.cos(angle), math.sin(angle)
    margin = math.ceil(SIDE * spread) + 1
    first, *others = (
        _shifted(padded, round(t * c), round(t * s), reach - margin) for t in AHEAD * spread
    )
    line = first.copy()
    for other in others:
        line += other
    dx, dy = round(-SIDE * spread * s), round(SIDE * spread * c)
    sides = np.maximum(_shifted(line, dx, dy, margin), _shifted(line, -dx, -dy, margin))
    return np.asarray(np.subtract(_shifted(line, 0, 0, margin), sides, out=sides))


def _shifted(image: Whole, dx: int, dy: int, margin: int) -> Whole:
    """The image without its margin, read at a whole-pixel offset within it."""
    height, width = image.shape
    return image[margin + dy : height - margin + dy, margin + dx : width - margin + dx]


def _some(judged: Mask) -> Indices:
    places = np.flatnonzero(judged)
    return places[:: max(1, len(places) // SAMPLES)]


def _robust(values: Whole) -> tuple[float, float]:
    """Median and spread (1.4826 MAD)."""
    middle = median(values)
    return middle, max(1.0, 1.4826 * median(np.abs(values - middle)))
