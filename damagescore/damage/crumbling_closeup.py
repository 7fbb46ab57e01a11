"""A crumbled patch seen closer: its part of the photo at twice the fineness of a strip."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.crumbling_evidence import Evidence
from damagescore.damage.crumbling_outline import Outline
from damagescore.damage.crumbling_strip import (
    Image,
    Mask,
    Strip,
    cut_window,
    disc,
    pooled,
)
from damagescore.edge.record import Edge
from damagescore.photo.outline import fill_outline
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

FINE_PX_PER_MM = 24.0
"""Gaps between small grains at a lit rim are 0.05 to 0.1 mm wide."""

MARGIN_MM = (2.5, 0.8)
"""Sound rubber around the patch that it is compared with, along and across the layer."""

BLURS_MM = (0.03, 0.06, 0.12, 0.24, 0.48)
"""Their differences are bands of detail; the second to last are levels of brightness."""

NEAR_MM, GRAIN_MM = 0.12, 0.3
"""Blurs over which detail is averaged: as fine as it can be told, and a grain."""

GAP_MM = (0.12, 0.3)
"""How far the darkest and the brightest places are looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Closeup:
    """A window of the photo around a patch; images of shape (h, w).

    Parameters
    ----------
    strip : Strip
        The window, at most `FINE_PX_PER_MM`.
    first : ndarray of bool
        The patch as it was first outlined.
    odds : ndarray
        Log odds of the first outline.
    aligned : ndarray
        Coherence of the structure tensor.
    photo_px_per_mm : float
        Fineness of the photo itself.
    levels : tuple of ndarray
        Log grey level over the light, at each of `BLURS_MM`.
    near, grain : tuple of ndarray
        Squared detail of the bands, averaged over `NEAR_MM` and `GRAIN_MM`.
    dark_share : tuple of ndarray
        Share of the three finer bands that is dark.
    gaps : tuple of ndarray
        Darkest levels within `GAP_MM`.
    peak : ndarray
        Brightest level within the first of `GAP_MM`.
    """

    strip: Strip
    first: Mask
    odds: Image
    aligned: Image
    photo_px_per_mm: float
    levels: tuple[Image, ...]
    near: tuple[Image, ...]
    grain: tuple[Image, ...]
    dark_share: tuple[Image, ...]
    gaps: tuple[Image, ...]
    peak: Image


def closeup_of(
    photo: Photo, edge: Edge, scale: Scale, *, evidence: Evidence, outline: Outline
) -> Closeup:
    """Cut a patch and its surroundings out of the photo again, finer.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    scale : Scale
    evidence : Evidence
        Of the layer that the patch lies in.
    outline : Outline
        The patch as first outlined.
    """
    strip = _window(photo, edge, scale, evidence, outline)
    light = _moved(strip, evidence.strip, evidence.light)
    above = np.clip(strip.log_grey - light, -1.5, 1.0)
    levels = tuple(pooled(strip, above, s) for s in BLURS_MM)
    bands = [a - b for a, b in pairwise(levels)]
    grain = tuple(pooled(strip, b * b, GRAIN_MM) for b in bands)
    dark = [pooled(strip, np.minimum(b, 0) ** 2, GRAIN_MM) for b in bands[:3]]
    first = np.zeros(strip.log_grey.shape, np.uint8)
    fill_outline(first, strip.from_photo(outline.polygon_px), 1)
    return Closeup(
        strip=strip,
        first=(first > 0) & (strip.inside > 0.5),
        odds=_moved(strip, evidence.strip, outline.odds, outline.corner),
        aligned=_moved(strip, evidence.strip, outline.aligned, outline.corner),
        photo_px_per_mm=1 / scale.mm_per_px,
        levels=levels,
        near=tuple(pooled(strip, b * b, NEAR_MM) for b in bands),
        grain=grain,
        dark_share=tuple(d / (g + np.float32(1e-6)) for d, g in zip(dark, grain, strict=False)),
        gaps=tuple(_extreme(strip, levels[0], mm, cv2.erode, 9.0) for mm in GAP_MM),
        peak=_extreme(strip, levels[0], GAP_MM[0], cv2.dilate, -9.0),
    )


def _window(
    photo: Photo, edge: Edge, scale: Scale, evidence: Evidence, outline: Outline
) -> Strip:
    margin = np.array(MARGIN_MM) / scale.mm_per_px
    low = np.floor(outline.polygon_px.min(axis=0) - margin).astype(int)
    high = np.ceil(outline.polygon_px.max(axis=0) + margin).astype(int) + 1
    layer = evidence.strip.layer
    strip = cut_window(
        photo, edge, layer=layer, scale=scale, low=low, high=high, finest=FINE_PX_PER_MM
    )
    assert strip is not None  # a patch of the same layer was found in it
    return strip


def _moved(fine: Strip, coarse: Strip, image: Image, corner: tuple[int, int] = (0, 0)) -> Image:
    """An image of the coarse strip, or of its part from `corner`, on the fine one."""
    start = coarse.from_photo(fine.to_photo(np.zeros((1, 2))))[0] - corner
    step = np.array(coarse.factor) / np.array(fine.factor)
    move = np.array([[step[0], 0, start[0]], [0, step[1], start[1]]])
    size = (fine.log_grey.shape[1], fine.log_grey.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpAffine(image, move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, dtype=np.float32)


def _extreme(
    strip: Strip, level: Image, reach_mm: float, of: Callable[..., Any], unknown: float
) -> Image:
    """Darkest or brightest level within a reach, of what surely is rubber of the layer."""
    known = np.where(strip.sure, level, np.float32(unknown))
    found = of(known, disc(reach_mm * strip.px_per_mm))
    return np.where(np.abs(found) > 8, 0, found).astype(np.float32)
