"""Straight lines along which something ends: where a part's outline may run."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from damagescore.edge.outline import Outward, Track, turned_array
from damagescore.photo.record import Photo

Strip = NDArray[np.float32]

BOTH_WAYS: tuple[tuple[Outward, Outward], ...] = (("right", "left"), ("down", "up"))

REDUCED_PX = 600
"""Longer side of the photo in which lines are looked for."""

BAND_MM = 0.6
"""How far layers may stand beside the line and still count for it."""

TILTS = np.linspace(-0.1, 0.1, 21)
"""Slopes of lines against the photo's sides that are tried."""

WEAK_STEP, MOST_GAIN = 6.0, 1.5
"""Grey levels by which both sides must differ to count, and what a row counts at most."""

MOST_LINES, LEAST_SHARE = 3, 0.5
"""Lines each way, and the share of the best of them that each must reach."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A line in the reduced photo: mean gain, column at half height, slope."""

    gain: float
    middle: float
    tilt: float


def straight_tracks(photo: Photo, mm_per_px: float) -> list[Track]:
    """Outlines that may run along straight lines through the photo, the clearest first.

    What lies behind the part may be anything: in most rows, something ends at its outline,
    and nothing else does so along one line through the photo.

    Parameters
    ----------
    photo : Photo
    mm_per_px : float

    Returns
    -------
    list of Track
        In pixels of the turned photo, over its whole height; each line twice, once for
        each side that may be the part's.
    """
    factor = min(1.0, REDUCED_PX / max(photo.width, photo.height))
    size = (round(photo.width * factor), round(photo.height * factor))
    small = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA)
    band = max(round(BAND_MM / mm_per_px * factor), 2)
    found: list[Track] = []
    for ways in BOTH_WAYS:
        seen = np.asarray(turned_array(small, ways[0]), np.uint8)
        for line in _lines(_gain(seen, band), band):
            found += [_track(x, line, shape=seen.shape[:2], factor=factor) for x in ways]
    return sorted(found, key=lambda t: -t.clear)


def _track(outward: Outward, line: _Line, *, shape: tuple[int, int], factor: float) -> Track:
    height, width = shape
    rows = np.arange(height, dtype=np.float64)
    x = line.middle + line.tilt * (rows - height / 2)
    if outward in ("left", "up"):
        x = width - 1 - x
    rows, x = (rows + 0.5) / factor - 0.5, (x + 0.5) / factor - 0.5
    return Track(rows=rows, x=x, outward=outward, clear=line.gain)


def _gain(seen: NDArray[np.uint8], band: int) -> Strip:
    """What each place of each row (H, W) counts for a line through it."""
    values = np.asarray(cv2.blur(seen.astype(np.float32), (1, 3)), np.float32)
    wide = values.shape[1]
    total = np.cumsum(np.pad(values, ((0, 0), (1, 0), (0, 0))), axis=1)
    at = np.arange(wide)

    def mean(first: int, last: int) -> Strip:
        low, high = np.clip(at + first, 0, wide - 1), np.clip(at + last + 1, 1, wide)
        return np.asarray((total[:, high] - total[:, low]) / (high - low)[None, :, None])

    step = np.linalg.norm(mean(-4, -1) - mean(1, 4), axis=2)
    near = maximum_filter1d(np.log1p(step / WEAK_STEP), 2 * band + 1, axis=1)
    # A row of rough texture ends everywhere, and tells nothing of a line.
    near = near - np.median(near, axis=1, keepdims=True)
    return np.asarray(np.clip(near, 0.0, MOST_GAIN), np.float32)


def _lines(gain: Strip, band: int) -> list[_Line]:
    """The clearest lines."""
    rows, at = np.arange(gain.shape[0]), np.arange(gain.shape[1])
    score = np.empty((len(TILTS), len(at)))
    for k, tilt in enumerate(TILTS):
        shift = np.round(tilt * (rows - gain.shape[0] / 2)).astype(np.intp)
        columns = np.clip(at[None, :] + shift[:, None], 0, len(at) - 1)
        score[k] = np.take_along_axis(gain, columns, axis=1).mean(axis=0)
    best = score.max(axis=0)
    least = LEAST_SHARE * float(best.max())
    found = []
    for _ in range(MOST_LINES):
        i = int(np.argmax(best))
        if best[i] <= least:
            break
        # Many tilts may do as well: the middle one of them.
        alike = TILTS[score[:, i] > 0.97 * best[i]]
        found.append(_Line(gain=float(best[i]), middle=float(i), tilt=float(np.median(alike))))
        best[max(i - 2 * band - 2, 0) : i + 2 * band + 3] = 0.0
    return found
