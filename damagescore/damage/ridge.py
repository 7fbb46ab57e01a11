"""How dark and line-like every place of a straightened layer is."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from damagescore.damage.line_filter import line_answer
from damagescore.damage.strip import Strip, blurred
from damagescore.ranks import median, quantile

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

BACKGROUND_MM = 0.8
"""Spread of the background's average: wider than any crack, narrower than a shadow."""

BORDER_MM = 0.5
"""Reach of a shim's gleam and contact shadow into the rubber."""

LINE_SPREADS_MM = (0.055, 0.14)
"""Cross-wise spread of the line filters: strokes of about 0.08-0.25 and 0.2-0.6 mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ridge:
    """What the line filters say of a strip; every array has the strip's shape.

    Parameters
    ----------
    dark : ndarray of float32
        1 - grey / background: 0 on sound rubber, 1 where no light comes back,
        0 outside the judged rubber. Bright things are cut at a small negative.
    shade : ndarray of float32
        The same with bright things left as they are: negative on them.
    z : ndarray of float32
        Strongest filter response over the orientations, in robust spreads of
        that filter on the layer itself.
    contrast : ndarray of float32
        The response itself, in units of `dark`: line minus its darker side.
    noise : float
        Robust spread of `dark` on sound rubber.
    """

    dark: Image
    shade: Image
    z: Image
    contrast: Image
    noise: float


def ridge_of(strip: Strip) -> Ridge:
    """Flatten a strip and look for dark lines in it at every angle."""
    shade, noise = flatten(strip)
    # A bright thing is no crack, and its filter side lobes must not look like two.
    dark = np.clip(shade, -noise, 1.0)
    judged = strip.judged & ~_chalked(strip, dark, noise)
    dark[~judged] = 0
    grain = _grain(dark, judged, strip.px_per_mm)
    z = np.zeros_like(dark)
    contrast = np.zeros_like(dark)
    for spread_mm in LINE_SPREADS_MM:
        found = line_answer(dark, judged, spread_px=spread_mm * strip.px_per_mm)
        better = found.z > z
        np.copyto(z, found.z, where=better)
        np.copyto(contrast, found.contrast, where=better)
    z /= grain
    z[~judged] = 0
    contrast[~judged] = 0
    return Ridge(dark=dark, shade=shade, z=z, contrast=contrast, noise=noise)


def flatten(strip: Strip) -> tuple[Image, float]:
    """Relative darkness against the local background, and its spread on sound rubber."""
    judged = strip.judged
    spread = BACKGROUND_MM * strip.px_per_mm
    background = local_mean(strip.grey, judged, spread)
    # Cracks, chalk and dust must not pull the background that they are compared with.
    ratio = strip.grey / background
    sound = judged & (np.abs(ratio - 1) < 0.25)
    if sound.any():
        background = local_mean(strip.grey, sound, spread)
    dark = (1 - strip.grey / background).astype(np.float32)
    _, noise = _robust(dark[judged]) if judged.any() else (0.0, 1.0)
    dark = _without_border(dark, judged, round(BORDER_MM * strip.px_per_mm), noise)
    dark[~judged] = 0
    return dark, noise


def local_mean(grey: Image, weight: Mask, spread: float) -> Image:
    """Gaussian mean of the grey levels where `weight` is True, at least 1."""
    known = weight.astype(np.float32)
    height, width = grey.shape
    # A wide Gaussian needs no fine grid: a quarter of its spread a cell.
    coarse = max(1, int(spread / 4))
    size = (max(2, round(width / coarse)), max(2, round(height / coarse)))
    total, share = (
        cv2.GaussianBlur(
            cv2.resize(part, size, interpolation=cv2.INTER_AREA), (0, 0),
            sigmaX=spread * size[0] / width, sigmaY=spread * size[1] / height,
            borderType=cv2.BORDER_REFLECT,
        )
        for part in (grey * known, known)
    )  # fmt: skip
    # Far from anything known, fall back on the mean of all that is known.
    mean = cv2.mean(grey, weight.view(np.uint8))[0] if weight.any() else 1.0
    level = np.maximum((total + 1e-3 * mean) / (share + 1e-3), 1.0)
    return np.asarray(cv2.resize(level, (width, height), interpolation=cv2.INTER_LINEAR))


def _grain(dark: Image, judged: Mask, px_per_mm: float) -> Image:
    """Local over usual grain along a layer, shape (columns,).

    Where a round edge turns away from the light its photo is noisier, and noise
    must not look like lines. A low quantile, as a crack may cover a third of a piece.
    """
    # Fine grain only: a crack and the shading beside it are wider.
    fine = np.abs(dark - blurred(dark, max(0.9, 0.06 * px_per_mm)))
    columns = dark.shape[1]
    size = max(8, round(3 * px_per_mm))
    starts = np.arange(0, columns, size)
    some, known = fine[::2], judged[::2]  # every other row says as much
    kept = [some[:, k : k + size][known[:, k : k + size]] for k in starts]
    usual = quantile(some[known], 0.3) if known.any() else 1.0
    local = [quantile(x, 0.3) if len(x) > 50 else usual for x in kept]
    smooth = gaussian_filter1d(np.array(local) / max(usual, 1e-4), 0.7, mode="nearest")
    at = np.interp(np.arange(columns), starts + size / 2, smooth)
    return np.asarray(np.clip(at, 1.0, 4.0), np.float32)


def _chalked(strip: Strip, dark: Image, noise: float) -> Mask:
    """Where chalk, paint or a label lies: the gaps in it look like dark lines."""
    reach = max(1, round(0.4 * strip.px_per_mm))
    bright = (
        strip.grey > 1.4 * local_mean(strip.grey, np.abs(dark) < 3 * noise, 40.0)
    ) & strip.judged
    bright &= ~_gleaming_rim(bright, round(BORDER_MM * strip.px_per_mm))
    share = cv2.blur(bright.astype(np.float32), (2 * reach + 1, 2 * reach + 1))
    kernel = np.ones((reach + 1, reach + 1), np.uint8)
    return np.asarray(cv2.dilate((share > 0.25).astype(np.uint8), kernel), bool)


def _gleaming_rim(bright: Mask, reach: int) -> Mask:
    """Bright pieces that keep to the layer's border: a shim's side, no chalk."""
    count, label, stats, _ = cv2.connectedComponentsWithStats(bright.astype(np.uint8))
    top, height = stats[:, cv2.CC_STAT_TOP], stats[:, cv2.CC_STAT_HEIGHT]
    at_border = (top == 0) | (top + height == len(bright))
    rim = at_border & (height <= min(reach, len(bright) // 2))
    rim[0] = False
    return np.asarray(rim[label]) if count > 1 else np.zeros_like(bright)


def _without_border(dark: Image, judged: Mask, reach: int, noise: float) -> Image:
    """Take off the shadow that runs along a border unchanged.

    The level of a row is taken at the brighter third, so that a bond gap along
    half the visible length or more keeps its darkness.
    """
    rows = len(dark)
    changed = dark.copy()
    for row in {*range(min(reach, rows)), *range(max(0, rows - reach), rows)}:
        values = dark[row][judged[row]]
        if len(values) > 50:
            # 0.44 spreads: the distance from the lower third to the median of a normal.
            level = quantile(values, 0.33) + 0.44 * noise
            # A gleaming row stays bright: where a smear dulls the shim, sound rubber
            # beside it must not turn dark.
            changed[row] -= np.float32(max(level, 0.0))
    return changed


def _robust(values: Image) -> tuple[float, float]:
    """Median and spread (1.4826 MAD); a sample will do for large arrays."""
    some = values[:: max(1, len(values) // 8_000)]
    middle = median(some)
    return middle, max(1e-4, 1.4826 * median(np.abs(some - middle)))
