"""Light on the sound rubber of all layers, and the level around each pixel."""

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.crumbling_strip import Image, Strip, pooled

LIGHT_KNOTS = 28
"""Light falls off within a seventh of the width on a curved edge."""

CLEAN_PERCENT = 30.0
"""Dust only ever brightens, so clean rubber is in the darker part of a block."""

BLOCK_MM = 0.8
"""Side of a block in which the level of clean rubber is read: wider than a grain."""

GRID_PX = 16
"""Step at which the smooth light is worked out; it is linear in between."""

LEVEL_MM = 0.8
"""Blur for the level around a pixel: wider than the grains, narrower than a shadow."""

NO_RUBBER = 0.9
"""Log units above sound rubber beyond which a pixel shows something lying on it."""

SPECK = 0.1
"""Log units above its surroundings beyond which a pixel is taken as a speck of dust."""


def light_on(strips: tuple[Strip, ...], shape: tuple[int, int]) -> tuple[Image, ...]:
    """Log grey level of sound rubber at each pixel of each strip.

    One smooth surface over all layers, fitted robustly to block levels: a layer
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
    side = max(4, round(BLOCK_MM * strip.px_per_mm))
    known = _in_blocks(strip.sure, side)
    count = known.sum(axis=-1)
    # Unknown pixels are sorted behind all known ones.
    level = np.sort(_in_blocks(np.where(strip.sure, strip.log_grey, np.inf), side), axis=-1)
    rank = np.rint(CLEAN_PERCENT / 100 * np.maximum(count - 1, 0)).astype(int)
    level = np.take_along_axis(level, rank[..., None], axis=-1)[..., 0]
    row, column = np.nonzero(count > 0.7 * side**2)
    if len(row) == 0:
        seen = strip.log_grey[strip.inside > 0.5]
        middle = strip.layer.polygon_px.mean(axis=0)
        usual = np.median(seen if len(seen) else strip.log_grey)
        return np.array([[middle[0], middle[1], usual]], dtype=np.float64)
    middles = np.column_stack([column, row]).astype(np.float64) * side + (side - 1) / 2
    return np.column_stack([strip.to_photo(middles), level[row, column]])


def _in_blocks(image: NDArray[np.generic], side: int) -> NDArray[np.generic]:
    """Cut into squares: shape (rows, columns, side * side); an odd rest is left out."""
    rows, columns = image.shape[0] // side, image.shape[1] // side
    whole = image[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return whole.swapaxes(1, 2).reshape(rows, columns, side * side)


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
    """The light at nodes `GRID_PX` apart, enlarged to the strip's pixels."""
    h, w = strip.log_grey.shape
    size = (-(-w // GRID_PX) + 1, -(-h // GRID_PX) + 1)
    x, y = np.meshgrid(np.arange(size[0]) * GRID_PX, np.arange(size[1]) * GRID_PX)
    places = strip.to_photo(np.stack([x, y], axis=-1).reshape(-1, 2).astype(np.float64))
    nodes = (_powers(places, shape) @ terms).reshape(size[1], size[0]).astype(np.float32)
    step = np.array([[1 / GRID_PX, 0, 0], [0, 1 / GRID_PX, 0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    grown = cv2.warpAffine(nodes, step, (w, h), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(grown, dtype=np.float32)


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
