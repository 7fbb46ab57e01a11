"""Outline of a crumbled patch, finer than the texture that gave it away."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from damagescore.damage.crumbling_texture import (
    Image,
    Mask,
    Strip,
    blur,
    detail_energy,
    disc,
    pooled,
)

Points = NDArray[np.float64]

BANDS_MM = (0.05, 0.1, 0.2)
"""Bands for the border: wider ones would blur it."""

POOL_MM = 0.2
"""About half a grain: the share of detail is known no finer than this."""

GAP_LEVEL = 0.2
"""Darkness of a gap between grains over that of the patch's darker quarter."""

GRAIN_RADIUS_MM = 0.4
"""Grains up to twice this between gaps belong to the patch; grains are 0.2 to 1 mm."""

GROW_MM = 1.0
"""How far a patch is grown from its core into tips that the line filter took."""

PASSES = 3
"""The core is a little too wide at first; its levels settle after two passes."""


def outline_of(strip: Strip, dark: Image, core: Mask, *, join_mm: float) -> Points | None:
    """Sub-pixel outline of the patch around a core, in photo pixels.

    A point belongs to the patch when both hold: it is a gap between grains or lies
    between gaps, and at least half as much of its surroundings has detail as in
    the middle of the patch. The first follows ragged borders, the second keeps
    shaded but whole rubber out. On development scenes the area came out within
    5 %. Known bias: bright grains at the border that no gap encloses are lost.

    Parameters
    ----------
    strip : Strip
    dark : ndarray, shape (h, w)
        Result of `darkness`.
    core : ndarray of bool, shape (h, w)
    join_mm : float
        Pieces smaller than a sixteenth of its square are dropped.

    Returns
    -------
    ndarray, shape (N, 2), or None
        None where nothing encloses an area. Pieces are joined by bridges of no
        width, and holes are filled.
    """
    near = _grown(core, GROW_MM * strip.px_per_mm)
    share = _detail_share(strip, dark, core, near=near)
    between = _between_gaps(strip, dark, core, near=near)
    # Each field is 0 on its border and nearly linear beside it, so is the least.
    on_layer = np.maximum((strip.inside - np.float32(0.5)) * 2, -1)
    field = np.minimum(np.minimum(share, between), on_layer)
    field = np.where(near, field, np.minimum(field, -0.1)).astype(np.float32)
    field = _only_touching(field, core, least_px=(join_mm / 4 * strip.px_per_mm) ** 2)
    loops = find_contours(np.pad(field, 1, constant_values=-1), 0.0)  # type: ignore[no-untyped-call]
    rings = [r[:-1, ::-1] - 1 for r in loops if len(r) > 4]
    outer = [ring for ring in rings if _signed_area(ring) * _outer_sign(rings) > 0]
    return strip.to_photo(_bridged(outer)) if outer else None


def _grown(mask: Mask, reach_px: float) -> Mask:
    return cv2.dilate(mask.astype(np.uint8), disc(reach_px)).astype(bool)


def _detail_share(strip: Strip, dark: Image, core: Mask, *, near: Mask) -> Image:
    """Share of the surroundings with detail, over half of the patch's own, minus 1.

    A deep shadow counts no more than any other detail, so that it does not push
    the border outwards.
    """
    energy = detail_energy(strip, dark, BANDS_MM)
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
    whole = _grown(patch, 1.0) & ~strip.sure | patch
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


def _only_touching(field: Image, core: Mask, *, least_px: float) -> Image:
    """Leave out pieces that hold none of the core, and specks."""
    count, labels = cv2.connectedComponents((field > 0).astype(np.uint8), connectivity=4)
    for label in range(1, count):
        piece = labels == label
        if not (piece & core).any() or piece.sum() < least_px:
            field = np.where(piece, np.float32(-0.1), field)
    return field


def _outer_sign(rings: list[Points]) -> float:
    largest = max(rings, key=lambda ring: abs(_signed_area(ring)))
    return math.copysign(1.0, _signed_area(largest))


def _signed_area(ring: Points) -> float:
    x, y = ring.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def _bridged(rings: list[Points]) -> Points:
    """Join pieces of one patch by bridges of no width, so that areas simply add."""
    rings = sorted(rings, key=lambda ring: -abs(_signed_area(ring)))
    whole = rings[0]
    for ring in rings[1:]:
        gap = np.hypot(*(whole[:, None, :] - ring[None, :, :]).transpose(2, 0, 1))
        i, j = np.unravel_index(int(np.argmin(gap)), gap.shape)
        turned = np.roll(ring, -int(j), axis=0)
        whole = np.vstack([whole[: i + 1], turned, turned[:1], whole[i:]])
    return whole
