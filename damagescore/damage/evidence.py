"""What a photo shows of a line that may be a crack: the numbers that its chance rests on."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.ridge import Ridge

Points = NDArray[np.float64]
Image = NDArray[np.float32]

BOND_REACH_MM = 0.35
"""A line that keeps this near to its layer's border is a bond gap."""

GAP_ALONG = 2 / 3
"""A bond gap keeps to one border for more than this share of its length: a crack across a thin
layer is near both for a while, and a crack may touch one."""

FLANK_MM = (0.2, 0.45)
"""Where the rubber beside a line is looked at, from the line's middle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Numbers of one line network, each of which a person could check in the photo.

    Parameters
    ----------
    darkness : float
        Share of the light of the sound rubber beside it that is missing; a quarter of the
        network is at least as dark.
    weakest : float
        The same where it is palest: a tenth of it is paler.
    response : float
        Median answer of the line filter, robust spreads.
    saliency : float
        Sum of (response - 2.5) along it per 1/25 mm: long and weak counts as short and
        strong.
    length_mm : float
    stands_out : float
        Share of its darkness by which it is darker than both its sides.
    straight : float
        1 where its main path is straight within 0.05 mm and within 2 degrees of the layer,
        as a mould or a shim would draw it; else 0.
    border_share : float
        Share of it within `BOND_REACH_MM` of the layer's borders.
    along_border : float
        The same for the one border that more of it is near to.
    bright_flank : float
        How much brighter than sound rubber the brighter side is: a scratch and a flash ridge
        have a gleaming side.
    step : float
        Difference of darkness between its two sides: a shadow's or a shim's edge.
    width_mm : float
        Width at half its darkness.
    noise : float
        Robust spread of the darkness of sound rubber around it.
    px_per_mm : float
        Samples per millimetre that the search saw.
    """

    darkness: float
    weakest: float
    response: float
    saliency: float
    length_mm: float
    stands_out: float
    straight: float
    border_share: float
    along_border: float
    bright_flank: float
    step: float
    width_mm: float
    noise: float
    px_per_mm: float


def evidence_of(
    lines: tuple[Points, ...], ridge: Ridge, core: Image, *, px_per_mm: float
) -> Evidence:
    """Look at a line network of a straightened layer.

    Parameters
    ----------
    lines : tuple of ndarray, shape (N, 2)
        Strip samples (column, row): the main path, then its branches.
    ridge : Ridge
    core : ndarray of float32
        Relative darkness, a little smoothed.
    px_per_mm : float
    """
    at = np.vstack(lines).astype(int)
    z, contrast, depth = (x[at[:, 1], at[:, 0]] for x in (ridge.z, ridge.contrast, core))
    rows = len(core)
    reach_px = bond_reach_mm(rows, px_per_mm) * px_per_mm
    near = [at[:, 1] < reach_px, rows - 1 - at[:, 1] < reach_px]
    bright, step, width_mm = _beside(lines[0], ridge.shade, px_per_mm)
    return Evidence(
        darkness=float(np.quantile(depth, 0.75)),
        weakest=float(np.quantile(depth, 0.1)),
        response=float(np.median(z)),
        saliency=float(np.sum(z - 2.5)) * 25 / px_per_mm,
        length_mm=len(at) / px_per_mm,
        stands_out=float(np.median(contrast) / max(np.median(depth), 1e-3)),
        straight=float(_runs_along(lines[0], px_per_mm)),
        border_share=float(np.mean(near[0] | near[1])),
        along_border=float(max(np.mean(x) for x in near)),
        bright_flank=bright,
        step=step,
        width_mm=width_mm,
        noise=ridge.noise,
        px_per_mm=px_per_mm,
    )


def bond_reach_mm(rows: int, px_per_mm: float) -> float:
    """In a thin layer not everything lies on a border."""
    return min(BOND_REACH_MM, 0.2 * rows / px_per_mm)


def _beside(line: Points, shade: Image, px_per_mm: float) -> tuple[float, float, float]:
    """Brightness of the brighter side, difference of the sides, width at half darkness, mm.

    From the median profile across the main path; a side outside the layer counts as the
    other one.
    """
    offsets = np.linspace(-FLANK_MM[1], FLANK_MM[1], 31)
    profile = _profile(line, shade, offsets * px_per_mm)
    flank = np.abs(offsets) >= FLANK_MM[0]
    left, right = (profile[flank & (np.sign(offsets) == side)] for side in (-1, 1))
    sides = [x[np.isfinite(x)] for x in (left, right)]
    levels = [float(np.mean(x)) for x in sides if len(x)] or [0.0]
    brightest = min([float(np.min(x)) for x in sides if len(x)] or [0.0])
    middle = float(np.nanmax(profile[np.abs(offsets) < 0.1]))
    half = (middle + float(np.mean(levels))) / 2
    width_mm = float(np.sum(profile > half)) * float(offsets[1] - offsets[0])
    return max(0.0, -brightest), max(levels) - min(levels), width_mm


def _profile(line: Points, shade: Image, offsets_px: Points) -> Points:
    """Median across a path at every offset; NaN where it leaves the layer."""
    reach = 3
    smooth = cv2.blur(line, (1, 2 * reach + 1), borderType=cv2.BORDER_REPLICATE)
    tangent = np.gradient(smooth, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-6)[:, None]
    some = np.linspace(0, len(line) - 1, min(len(line), 200)).astype(int)
    normal = np.column_stack([-tangent[some, 1], tangent[some, 0]])
    at = (smooth[some, None] + offsets_px[None, :, None] * normal[:, None]).astype(np.float32)
    seen = cv2.remap(
        shade, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    inside = (at[..., 1] >= 0) & (at[..., 1] <= len(shade) - 1)
    known = np.where(inside, seen, np.nan)
    held = inside.mean(axis=0) > 0.5
    profile = np.full(len(offsets_px), np.nan)
    profile[held] = np.nanmedian(known[:, held], axis=0)
    return profile


def _runs_along(line: Points, px_per_mm: float) -> bool:
    """Straight within 0.05 mm and within 2 degrees of the layer."""
    columns, rows = line.T
    if abs(columns[-1] - columns[0]) < 4 * abs(rows[-1] - rows[0]) or len(line) < 5:
        return False
    slope, level = np.polyfit(columns, rows, 1)
    spread = float(np.std(rows - (slope * columns + level))) / px_per_mm
    return spread < 0.05 and abs(slope) < math.tan(math.radians(2))
