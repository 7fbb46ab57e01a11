"""Gaps between grains: where a patch of them ends."""

import math

import cv2
import numpy as np

from damagescore.damage.crumbling_evidence import Evidence, sum_of
from damagescore.damage.crumbling_strip import Image, Mask, Strip, blur, disc, pooled
from damagescore.damage.crumbling_texture import band_energies, darkness

POOL_MM = 0.2
"""About half a grain: the share of detail is known no finer than this."""

GAP_LEVEL = 0.2
"""Darkness of a gap between grains over that of the patch's darker quarter."""

GRAIN_RADIUS_MM = 0.4
"""Grains up to twice this between gaps belong to the patch; grains are 0.2 to 1 mm."""

PASSES = 3
"""The core is a little too wide at first; its levels settle after two passes."""


def gap_field(evidence: Evidence, core: Mask, *, near: Mask) -> Image:
    """Above 0 in a patch of grains, 0 on its border, within -1 and 1.

    A point belongs to the patch when both hold: it is a gap between grains or lies
    between gaps, and at least half as much of its surroundings has detail as in
    the middle of the patch. The first follows ragged borders, the second keeps
    shaded but whole rubber out. Known bias: bright grains at the border that no gap
    encloses are lost.

    Parameters
    ----------
    evidence : Evidence
    core : ndarray of bool, shape (h, w)
    near : ndarray of bool, shape (h, w)
        Where the patch may lie.
    """
    strip = evidence.strip
    dark = darkness(strip, evidence.sound_level)
    core = core & strip.sure if (core & strip.sure).any() else core
    share = _detail_share(strip, dark, core, near=near)
    between = _between_gaps(strip, dark, core, near=near)
    return np.asarray(np.clip(np.minimum(share, between), -1, 1), dtype=np.float32)


def _detail_share(strip: Strip, dark: Image, core: Mask, *, near: Mask) -> Image:
    """Share of the surroundings with detail, over half of the patch's own, minus 1.

    A deep shadow counts no more than any other detail, so that it does not push
    the border outwards; the widest band would blur it.
    """
    energy = sum_of(band_energies(strip, dark)[:2])
    patch = core
    relative = np.zeros_like(energy)
    for _ in range(PASSES):
        usual = float(np.median(energy[patch])) + 1e-9
        share = pooled(strip, energy / (energy + usual), POOL_MM)
        relative = share / (0.5 * float(np.median(share[patch])) + 1e-9) - 1
        found = (relative > 0) & near
        patch = found if found.any() else core
    return np.asarray(relative, dtype=np.float32)


def _between_gaps(strip: Strip, dark: Image, core: Mask, *, near: Mask) -> Image:
    """Gaps and what lies between them: above 0 inside, below 0 outside."""
    fine = pooled(strip, dark, 0.06)
    allowed = near & strip.sure
    patch = core
    for _ in range(PASSES - 1):
        gaps = (fine > GAP_LEVEL * float(np.percentile(fine[patch], 75))) & allowed
        patch = _touching(_closed(gaps, strip.px_per_mm), core)
        if not patch.any():
            patch = core
    # The outermost pixel ring is not sure; the layer's own border bounds it later.
    grown = cv2.dilate(patch.astype(np.uint8), disc(1.0)).astype(bool)
    whole = grown & ~strip.sure | patch
    return blur(whole.astype(np.float32), 0.06 * strip.px_per_mm) * 2 - 1


def _closed(gaps: Mask, px_per_mm: float) -> Mask:
    pad = math.ceil(2 * GRAIN_RADIUS_MM * px_per_mm)
    wide = np.pad(gaps.astype(np.uint8), pad)
    shut = cv2.morphologyEx(wide, cv2.MORPH_CLOSE, disc(GRAIN_RADIUS_MM * px_per_mm))
    smooth = cv2.morphologyEx(shut, cv2.MORPH_OPEN, disc(0.15 * px_per_mm))
    return smooth[pad:-pad, pad:-pad].astype(bool)


def _touching(found: Mask, core: Mask) -> Mask:
    _, labels = cv2.connectedComponents(found.astype(np.uint8))
    held = np.unique(labels[core & found])
    return np.isin(labels, held[held > 0])
