"""The opening of a crack from cuts across its centre line."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter
from scipy.spatial import cKDTree

from damagescore.damage.centreline import connected, cut_across, resample
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Image = NDArray[np.float32]

REACH_MM = 0.6
CLEAR_MM = 0.5
"""Nearer than this to another line a cut may cross that one's stroke too."""

LEAST_FULL_DEPTH = 0.93
"""An open crack sends back next to no light; a shallower full depth is blur."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """Width along the centre lines of a finding, mm, and what it rests on.

    Parameters
    ----------
    largest_mm, mean_mm : float
    full_depth : float
        Relative darkness taken for a fully open crack.
    u_threshold : float
        Relative standard uncertainty from `full_depth` and from where a stroke
        is taken to end.
    cuts : int
        Number of independent cuts behind the mean.
    """

    largest_mm: float
    mean_mm: float
    full_depth: float
    u_threshold: float
    cuts: int


def opening_of(photo: Photo, lines: list[Points], scale: Scale) -> Opening | None:
    """Opening of a dark line: integrated darkness over the depth of a full opening.

    The integral of the darkness across a line does not change with blur, so the
    width stays right below the blur's own width, where the distance between
    half-depth points would read the blur. Known bias: where no part of the
    crack is wider than the blur, the full depth is taken as 0.93 at least; a
    crack with light or dust in it then reads narrow, by as much as its bottom
    is brighter.

    Returns None where no line is long enough to be cut across.
    """
    mm_per_px = scale.surface.mm_per_px_at(lines[0][len(lines[0]) // 2])
    step = max(1.0, 0.04 / mm_per_px)
    cuts = []
    for k, line in enumerate(lines):
        others = lines[:k] + lines[k + 1 :]
        one = _cuts(photo, line, mm_per_px, step, others=others)
        cuts += [] if one is None else [one]
    if not cuts:
        # Of a short crack with branches no place may lie clear: its main path must do.
        one = _cuts(photo, lines[0], mm_per_px, step, others=[])
        cuts += [] if one is None else [one]
    if not cuts:
        return None
    peak = np.concatenate([p for p, _ in cuts])
    found = float(np.quantile(peak, 0.9))
    full = float(np.clip(found, LEAST_FULL_DEPTH, 1.0))
    widths = [area * mm_per_px / full for _, area in cuts]
    # The widest place, not the widest accident: a median over about 0.3 mm.
    window = max(3, round(0.3 / mm_per_px / step) | 1)
    largest = max(float(median_filter(w, size=window, mode="nearest").max()) for w in widths)
    everywhere = np.concatenate(widths)
    return Opening(
        largest_mm=largest,
        mean_mm=float(everywhere.mean()),
        full_depth=full,
        u_threshold=math.hypot(0.10, (full - min(found, full)) / full / math.sqrt(3)),
        cuts=max(1, len(everywhere) // window),
    )


def linear_light(grey: Image) -> Image:
    """Light, 0 to 1, behind grey levels 0 to 255 coded as sRGB (IEC 61966-2-1).

    Blur adds light, not code values: only in light does a line's integrated
    darkness not depend on it.
    """
    code = np.clip(grey / 255.0, 0.0, 1.0)
    high = ((code + 0.055) / 1.055) ** 2.4
    return np.asarray(np.where(code <= 0.04045, code / 12.92, high), np.float32)


def _cuts(
    photo: Photo, line: Points, mm_per_px: float, step: float, *, others: list[Points]
) -> tuple[Points, Points] | None:
    """Peak depth and integrated depth (pixels) on every cut that crosses no other line."""
    even = resample(line, step_px=step)
    clear = _apart(even, others, CLEAR_MM / mm_per_px)
    if clear.sum() < 3:
        return None
    reach = max(4.0, REACH_MM / mm_per_px)
    profiles = cut_across(photo.grey, even, reach_px=reach, tone=linear_light)
    depth = gaussian_filter1d(profiles.depth, 1.0, axis=0, mode="nearest")
    middle = len(profiles.offsets_px) // 2
    near = max(1, round(0.1 / mm_per_px / 0.5))
    central = depth[:, middle - near : middle + near + 1]
    course = middle - near + np.argmax(central, axis=1)
    peak = central.max(axis=1)
    inside = connected(depth > np.maximum(0.1, 0.12 * peak)[:, None], course)
    area = np.where(inside, np.maximum(depth, 0), 0).sum(axis=1) * 0.5
    return peak[clear].astype(np.float64), area[clear].astype(np.float64)


def _apart(line: Points, others: list[Points], reach_px: float) -> NDArray[np.bool_]:
    """Where a line runs clear of the others: at a fork a cut crosses both strokes."""
    if not others:
        return np.ones(len(line), bool)
    dense = np.vstack([resample(o, step_px=1.0) for o in others])
    return np.asarray(cKDTree(dense).query(line)[0] > reach_px)
