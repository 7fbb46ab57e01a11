"""Texture of one rubber layer: darker and brighter detail in three bands, and lines."""

import math
from itertools import pairwise

import cv2
import numpy as np

from damagescore.damage.crumbling_strip import Image, Strip, blur, disc, pooled

BANDS_MM = (0.05, 0.1, 0.2, 0.4)
"""Blurs whose differences make three bands, for grains of about 0.2 to 1 mm."""

LINE_REACH_MM = 0.65
"""Beyond half the width of a wide crack (0.4 mm) plus the pooling on both sides."""

DARKEST = 0.9
"""Gaps between grains are about 0.5 log units below sound rubber; a crack may be 2
below and would outshine everything around it."""

BRIGHTEST = 0.5
"""The same for grains that catch the light; specks of dust may be 2 above."""


def darkness(strip: Strip, level: Image) -> Image:
    """How far a pixel is below a level, log units, at most `DARKEST`."""
    below = np.clip(level - strip.log_grey, 0, DARKEST)
    return np.where(strip.sure, below, 0).astype(np.float32)


def brightness(strip: Strip, level: Image) -> Image:
    """How far a pixel is above a level, log units, at most `BRIGHTEST`."""
    above = np.clip(strip.log_grey - level, 0, BRIGHTEST)
    return np.where(strip.sure, above, 0).astype(np.float32)


def band_energies(strip: Strip, detail: Image) -> tuple[Image, ...]:
    """Squared bands of a detail image, fine to coarse, log units squared."""
    blurred = [pooled(strip, detail, s) for s in BANDS_MM]
    return tuple(np.asarray((a - b) ** 2, np.float32) for a, b in pairwise(blurred))


def without_lines(strip: Strip, found: Image) -> Image:
    """Lower `found` where, across some direction, both sides are quiet.

    A crack, a scratch or a shadow line has quiet rubber on both sides; a point of
    a patch has the patch on at least one side in every direction, up to its
    border. Known bias: tips of a patch narrower than twice the reach are lost,
    and are grown back afterwards.
    """
    reach = _line_reach_mm(strip) * strip.px_per_mm
    inner = np.where(strip.inside > 0.5, found, 0).astype(np.float32)
    lowest = inner.copy()
    for angle in np.arange(8) * math.pi / 8:
        dx, dy = reach * math.cos(angle), reach * math.sin(angle)
        either = np.maximum(_shifted(inner, dx, dy), _shifted(inner, -dx, -dy))
        np.minimum(lowest, either, out=lowest)
    return lowest


def _line_reach_mm(strip: Strip) -> float:
    area = float(strip.inside.sum())
    length = max(float((strip.inside > 0.5).any(axis=0).sum()), 1.0)
    return min(LINE_REACH_MM, 0.4 * area / length / strip.px_per_mm)


def _shifted(image: Image, dx: float, dy: float) -> Image:
    move = np.array([[1, 0, dx], [0, 1, dy]], dtype=np.float64)
    size = (image.shape[1], image.shape[0])
    # At the photo's left and right end the layer goes on unseen, so repeat it.
    pad = math.ceil(abs(dx)) + 1
    wide = cv2.copyMakeBorder(image, 0, 0, pad, pad, cv2.BORDER_REPLICATE)
    moved = cv2.warpAffine(wide, move, (size[0] + 2 * pad, size[1]), flags=cv2.INTER_LINEAR)
    return np.asarray(moved[:, pad : pad + size[0]], dtype=np.float32)


def alignment(strip: Strip, dark: Image) -> Image:
    """Coherence of the structure tensor over 0.8 mm: 1 on a line, near 0 on grains."""
    fine = pooled(strip, dark, 0.08)
    # The layer's own border would be a line, the strongest one in a thin layer.
    whole = cv2.erode(strip.sure.astype(np.uint8), disc(1.0), borderValue=1)
    gx = cv2.Sobel(fine, cv2.CV_32F, 1, 0) * whole
    gy = cv2.Sobel(fine, cv2.CV_32F, 0, 1) * whole
    pool = 0.8 * strip.px_per_mm
    xx, yy, xy = blur(gx * gx, pool), blur(gy * gy, pool), blur(gx * gy, pool)
    return np.asarray(np.hypot(xx - yy, 2 * xy) / (xx + yy + 1e-9), dtype=np.float32)
