"""Dark broken texture of one rubber layer, with lines and bright marks left out."""

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.edge.record import Edge, Layer
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

MOST_PX_PER_MM = 20.0
"""Grains of 0.2 mm are 4 px wide here; finer pixels cost time and tell nothing more."""

BANDS_MM = (0.05, 0.1, 0.2, 0.4)
"""Blurs whose differences make three bands, for grains of about 0.2 to 1 mm."""

POOL_MM = 0.3
"""Blur over which texture is averaged: about one grain."""

LINE_REACH_MM = 0.65
"""Beyond half the width of a wide crack (0.4 mm) plus the pooling on both sides."""

LIGHT_KNOTS = 28
"""Light falls off within a seventh of the width on a curved edge."""

CLEAN_PERCENT = 30.0
"""Dust only ever brightens, so clean rubber is in the darker part of a block."""

DARKEST = 0.9
"""Gaps between grains are about 0.5 log units below sound rubber; a crack may be 2
below and would outshine everything around it."""

DARK_OFFSET = 4.0
"""Grey levels added before the logarithm, so that noise in deep shadow stays small."""

LEVEL_MM = 0.8
"""Blur for the level around a pixel: wider than the grains, narrower than a shadow."""

NO_RUBBER = 0.9
"""Log units above sound rubber beyond which a pixel shows something lying on it."""

SPECK = 0.1
"""Log units above its surroundings beyond which a pixel is taken as a speck of dust."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One rubber layer cut out of the photo, reduced to at most `MOST_PX_PER_MM`.

    Parameters
    ----------
    layer : Layer
    log_grey : ndarray of float32, shape (h, w)
        log(grey + `DARK_OFFSET`).
    inside : ndarray of float32, shape (h, w)
        Share of each pixel on rubber of this layer that may be judged, 0 to 1.
    corner_px : tuple of int
        Photo pixel (x, y) at the strip's first pixel.
    factor : tuple of float
        Strip pixels per photo pixel, x and y.
    px_per_mm : float
    """

    layer: Layer
    log_grey: Image
    inside: Image
    corner_px: tuple[int, int]
    factor: tuple[float, float]
    px_per_mm: float

    @property
    def sure(self) -> Mask:
        """Pixels wholly on the layer."""
        whole = (self.inside > 0.999).astype(np.uint8)
        return cv2.erode(whole, np.ones((3, 3), np.uint8), borderValue=1).astype(bool)

    def to_photo(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Strip (x, y) to photo pixels, shape (N, 2); centres at integers in both."""
        moved = (points + 0.5) / np.array(self.factor) - 0.5 + np.array(self.corner_px)
        return np.asarray(moved, dtype=np.float64)


def cut_strip(photo: Photo, edge: Edge, *, layer: Layer, scale: Scale) -> Strip | None:
    """Cut one layer out of the photo; None where nothing of it can be judged."""
    height, width = photo.grey.shape
    low = np.floor(layer.polygon_px.min(axis=0)).astype(int) - 2
    high = np.ceil(layer.polygon_px.max(axis=0)).astype(int) + 3
    x0, y0 = max(int(low[0]), 0), max(int(low[1]), 0)
    x1, y1 = min(int(high[0]), width), min(int(high[1]), height)
    if x1 - x0 < 8 or y1 - y0 < 4:
        return None
    window = (slice(y0, y1), slice(x0, x1))
    inside = ((edge.layer_map[window] == layer.index) & edge.judged[window]).astype(np.float32)
    if not inside.any():
        return None
    px_per_mm = 1.0 / scale.mm_per_px
    ratio = min(1.0, MOST_PX_PER_MM / px_per_mm)
    size = (max(8, round((x1 - x0) * ratio)), max(4, round((y1 - y0) * ratio)))
    log_grey = np.log(photo.grey[window] + np.float32(DARK_OFFSET))
    return Strip(
        layer=layer,
        log_grey=cv2.resize(log_grey, size, interpolation=cv2.INTER_AREA),
        inside=cv2.resize(inside, size, interpolation=cv2.INTER_AREA),
        corner_px=(x0, y0),
        factor=(size[0] / (x1 - x0), size[1] / (y1 - y0)),
        px_per_mm=px_per_mm * ratio,
    )


def light_on(strips: tuple[Strip, ...], shape: tuple[int, int]) -> tuple[Image, ...]:
    """Log grey level of sound rubber at each pixel of each strip.

    One smooth surface over all layers, fitted robustly to block medians: a layer
    that is crumbled along most of its length is judged by its neighbours.

    Parameters
    ----------
    strips : tuple of Strip
    shape : tuple of int
        Photo height and width.
    """
    samples = np.concatenate([_block_levels(strip) for strip in strips])
    terms = _robust_fit(_powers(samples[:, :2], shape), samples[:, 2])
    return tuple(_surface(strip, shape, terms) for strip in strips)


def _block_levels(strip: Strip) -> NDArray[np.float64]:
    """(x, y, log level) of blocks of about 0.8 mm, shape (N, 3)."""
    side = max(4, round(0.8 * strip.px_per_mm))
    sure = strip.sure
    found = []
    for y in range(0, strip.inside.shape[0] - side + 1, side):
        for x in range(0, strip.inside.shape[1] - side + 1, side):
            block = (slice(y, y + side), slice(x, x + side))
            known = sure[block]
            if known.mean() > 0.7:
                middle = strip.to_photo(np.array([[x, y]]) + (side - 1) / 2)[0]
                level = np.percentile(strip.log_grey[block][known], CLEAN_PERCENT)
                found.append((middle[0], middle[1], level))
    if not found:
        known = strip.inside > 0.5
        middle = strip.layer.polygon_px.mean(axis=0)
        level = np.median(strip.log_grey[known] if known.any() else strip.log_grey)
        found.append((middle[0], middle[1], level))
    return np.array(found, dtype=np.float64)


def _powers(points: NDArray[np.float64], shape: tuple[int, int]) -> NDArray[np.float64]:
    """Hat functions along the photo's width and a parabola over its height."""
    x = points[..., 0] / shape[1] * (LIGHT_KNOTS - 1)
    y = points[..., 1] / shape[0] * 2 - 1
    hats = np.clip(1 - np.abs(x[..., None] - np.arange(LIGHT_KNOTS)), 0, 1)
    rest = np.stack([y, y**2, (points[..., 0] / shape[1] * 2 - 1) * y], axis=-1)
    return np.concatenate([hats, rest], axis=-1)


def _robust_fit(design: NDArray[np.float64], level: NDArray[np.float64]) -> NDArray[np.float64]:
    """Tukey's biweight by repeated weighting; hats are held to a smooth course."""
    terms: NDArray[np.float64] = np.zeros(design.shape[1])
    terms[:LIGHT_KNOTS] = np.median(level)
    bend = np.zeros((LIGHT_KNOTS - 2, design.shape[1]))
    for i in range(LIGHT_KNOTS - 2):
        bend[i, i : i + 3] = (1, -2, 1)
    stiff = 0.3 * len(level) / LIGHT_KNOTS * bend.T @ bend
    stiff += np.diag([1e-6] * LIGHT_KNOTS + [1e-3 * len(level)] * 3)
    for _ in range(20):
        rest = level - design @ terms
        spread = 1.4826 * float(np.median(np.abs(rest))) + 0.02
        reach = np.where(rest > 0, 2 * spread, 3 * spread)  # dust above, damage below
        weight = np.clip(1 - (rest / reach) ** 2, 0, 1) ** 2 + 1e-6
        weighted = design * weight[:, None]
        terms = np.asarray(np.linalg.solve(design.T @ weighted + stiff, weighted.T @ level))
    return terms


def _surface(strip: Strip, shape: tuple[int, int], terms: NDArray[np.float64]) -> Image:
    h, w = strip.log_grey.shape
    x, y = np.meshgrid(np.arange(w, dtype=np.float64), np.arange(h, dtype=np.float64))
    places = strip.to_photo(np.stack([x, y], axis=-1).reshape(-1, 2)).reshape(h, w, 2)
    return np.asarray(_powers(places, shape) @ terms, dtype=np.float32)


def darkness(strip: Strip, light: Image) -> Image:
    """How far a pixel is below sound rubber, log units.

    Bright marks count as sound, and depth beyond `DARKEST` does not count.
    """
    below = np.clip(light - strip.log_grey, 0, DARKEST)
    return np.where(strip.sure, below, 0).astype(np.float32)


def local_level(strip: Strip, light: Image) -> Image:
    """Log grey level around each pixel, about two grains wide.

    The light of a lamp is smooth; streaks of glare and cast shadows are not, and are
    only seen here. Bright specks count little, so that dust does not raise the level.
    """
    rest = strip.log_grey - light
    rubber = (rest < NO_RUBBER).astype(np.float32)
    share = np.maximum(pooled(strip, rubber, LEVEL_MM), 1e-3)
    level = pooled(strip, rest * rubber, LEVEL_MM) / share
    rest = np.minimum(rest, level + SPECK)
    level = pooled(strip, rest * rubber, LEVEL_MM) / share
    return np.asarray(light + level, dtype=np.float32)


def texture(strip: Strip, dark: Image) -> Image:
    """Local contrast of dark detail, log units: rms over the bands and about a grain."""
    return np.sqrt(pooled(strip, detail_energy(strip, dark, BANDS_MM), POOL_MM))


def detail_energy(strip: Strip, dark: Image, bands_mm: tuple[float, ...]) -> Image:
    """Sum of squared bands of the darkness, log units squared."""
    blurred = [pooled(strip, dark, s) for s in bands_mm]
    total = sum(((a - b) ** 2 for a, b in pairwise(blurred)), start=np.zeros_like(dark))
    return np.asarray(total, dtype=np.float32)


def pooled(strip: Strip, image: Image, sigma_mm: float) -> Image:
    """Blur with the pixels of this layer only (normalised convolution)."""
    known = strip.sure.astype(np.float32)
    sigma = sigma_mm * strip.px_per_mm
    share = blur(known, sigma)
    mean = blur(image * known, sigma) / np.maximum(share, 1e-3)
    return np.asarray(mean, dtype=np.float32)


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


def blur(image: Image, sigma_px: float) -> Image:
    """Gaussian blur; below 0.3 px it would do nothing, so that is the least."""
    return np.asarray(cv2.GaussianBlur(image, (0, 0), max(sigma_px, 0.3)), dtype=np.float32)


def disc(radius_px: float) -> NDArray[np.uint8]:
    """Round structuring element of at least 3 by 3 pixels."""
    side = 2 * max(1, round(radius_px)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)
