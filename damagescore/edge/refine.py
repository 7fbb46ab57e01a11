"""Boundaries located to a fraction of a pixel at full resolution."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

from damagescore.edge.flow import Flow
from damagescore.edge.paths import best_path, whittaker
from damagescore.edge.sampling import medians, sample, sample_part
from damagescore.edge.straighten import Reduced
from damagescore.photo.record import Photo

Points = NDArray[np.float64]
Image = NDArray[np.float32]

COLUMN_STEP_PX = 3
COLUMNS_PER_BLOCK = 7

RIM_MM = 0.12
"""How far a scale card's own rim and the blur of it reach over its outline."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """Where a boundary is thought to run and how far to look to either side.

    `level_px` in the flow's coordinate; `above_px`, `below_px` are the reach of
    the search, so that the next boundary is not taken for this one.
    """

    level_px: float
    above_px: float
    below_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A boundary: level v (photo pixels) over s, with how sure it is.

    `noise_px` is the robust spread of single measurements about the curve,
    `share` the part of the length where the boundary was seen.
    """

    s_px: Points
    v_px: Points
    noise_px: float
    share: float


def refine(
    photo: Photo,
    reduced: Reduced,
    flow: Flow,
    guess: Guess,
    *,
    s_range_px: tuple[float, float],
    px_per_mm: float,
) -> Curve:
    """Follow one boundary along the layers.

    Block medians of profiles across the boundary, projected on the direction in
    luma and colour in which its two sides differ most; the steepest place of the
    step in each block; a smooth curve through those, robust against smears,
    nicks, cracks and crumbled places.

    Bias: the steepest place of a step blurred by an even kernel is unbiased; a
    dark gap beside a shim pulls the curve into the gap by less than its width.
    """
    s, strip, offsets = _strip(photo, flow, guess, s_range_px)
    step = _steps(strip, px_per_mm)
    step[_hidden(reduced, flow, guess, s, offsets, px_per_mm)] = 0.0
    course = _rough_course(step, offsets, guess)
    half = max(2.5, 0.16 * px_per_mm)
    place, weight = _steepest(step, offsets, course, (-half, half))
    course, noise, share = _smooth(place, weight, stiffness=_stiffness(s, px_per_mm))
    return Curve(s_px=s, v_px=guess.level_px + course, noise_px=noise, share=share)


def _hidden(
    reduced: Reduced, flow: Flow, guess: Guess, s: Points, offsets: Points, px_per_mm: float
) -> NDArray[np.bool_]:
    """Places (K, B) on the scale card or at its rim; whole blocks where it is at the guess."""
    around = guess.level_px + offsets
    x, y = flow.grid_px(s, around)
    at = ((c + np.float32(0.5)) * np.float32(reduced.factor) - np.float32(0.5) for c in (x, y))
    seen = sample(reduced.usable, *at, nearest=True) >= 0.5
    rim = 2 * round(RIM_MM * px_per_mm) + 1
    hidden: NDArray[np.bool_] = maximum_filter1d((~seen).astype(np.uint8), rim, axis=0) > 0
    hidden[:, hidden[int(np.argmin(np.abs(offsets)))]] = True
    return hidden


def _rough_course(step: Points, offsets: Points, guess: Guess) -> Points:
    """Offsets (B,) along the path that has the most step in all."""
    near = (offsets >= -guess.above_px) & (offsets <= guess.below_px)
    known = np.nan_to_num(step)
    gain = np.clip(known @ _direction(known * near[:, None, None]), 0.0, None)
    seen = known.any(axis=(0, 2))
    usual = float(np.percentile(gain[near][:, seen], 95)) if seen.any() else 1.0
    gain = np.minimum(gain / (usual + 1e-9), 1.0)
    # Near the guess is likelier; a weak place must not send the path to the rim.
    gain -= 0.1 * (offsets[:, None] / max(guess.above_px, guess.below_px)) ** 2
    gain[~near] = -1e3
    path = best_path(gain, most_move=2, move_cost=0.15)
    weight = np.clip(gain[path, np.arange(gain.shape[1])], 0.0, None) + 1e-3
    return whittaker(offsets[path], weight, 20.0)


def _stiffness(s: Points, px_per_mm: float) -> float:
    # Keeps waves longer than about 7 mm: what a moulded boundary can do.
    wave_blocks = 7.0 * px_per_mm / float(s[1] - s[0])
    return float((wave_blocks / (2 * np.pi)) ** 4)


def _strip(
    photo: Photo, flow: Flow, guess: Guess, s_range_px: tuple[float, float]
) -> tuple[Points, Image, Points]:
    """Block medians (K offsets, B blocks, 3 channels) around the boundary."""
    reach = int(np.ceil(max(guess.above_px, guess.below_px))) + 12
    offsets = np.arange(-reach, reach + 1, dtype=np.float64)
    block = COLUMN_STEP_PX * COLUMNS_PER_BLOCK
    count = max(int((s_range_px[1] - s_range_px[0]) // block), 4)
    s: Points = s_range_px[0] + COLUMN_STEP_PX * np.arange(
        count * COLUMNS_PER_BLOCK, dtype=np.float64
    )
    x, y = flow.grid_px(s, guess.level_px + offsets)
    part = np.dstack([sample_part(photo.rgb, x, y), sample_part(photo.grey, x, y)])
    inside = (x >= 0) & (x <= photo.width - 1) & (y >= 0) & (y <= photo.height - 1)
    shaped = part.reshape(len(offsets), count, COLUMNS_PER_BLOCK, 4)
    levels = medians(shaped, 2) + 8.0
    # A lens blurs light, not the stored values: their steepest place lies on the dark
    # side of the step. Hence back to light by the usual power of 2.2.
    light = (levels[..., 3] / 255.0) ** 2.2
    grey = light / light.mean(axis=0)
    ratios = np.log(levels[..., [0, 2]] / levels[..., [3]])
    channels = np.concatenate([grey[..., None], ratios], axis=-1)
    seen = inside.reshape(len(offsets), count, COLUMNS_PER_BLOCK).mean(axis=2) > 0.6
    channels[~seen] = np.nan
    middles = s.reshape(count, COLUMNS_PER_BLOCK).mean(axis=1)
    return middles, channels.astype(np.float32), offsets


def _steps(strip: Image, px_per_mm: float) -> Points:
    """Derivative across the boundary (K, B, 3) of each channel over its noise."""
    width = float(np.clip(0.03 * px_per_mm, 0.8, 2.5))
    known = np.isfinite(strip)
    filled = np.where(known, strip, 0.0).astype(np.float64)
    change = gaussian_filter1d(filled, width, axis=0, order=1, mode="nearest")
    change[~known] = np.nan
    # An unseen neighbour makes a false step.
    change[:-1][~known[1:]] = np.nan
    change[1:][~known[:-1]] = np.nan
    noise = np.nanmedian(np.abs(change), axis=(0, 1)) if known.any() else np.ones(3)
    # Colour is stored at half resolution in most files: it counts for less.
    return np.asarray(change / np.maximum(noise, [2e-3, 1e-3, 1e-3]) * [1.0, 0.35, 0.35])


def _steepest(
    step: Points, offsets: Points, course: Points, window: tuple[float, float]
) -> tuple[Points, Points]:
    """Offset and weight (B,) of the steepest place within the window."""
    apart = offsets[:, None] - course[None, :]
    near = (apart >= window[0]) & (apart <= window[1])
    common = np.nan_to_num(step) * near[..., None]
    direction = _direction(common)
    along = np.where(near, np.nan_to_num(step) @ direction, -np.inf)
    best = np.argmax(along, axis=0)
    inner = np.clip(best, 1, len(offsets) - 2)
    columns = np.arange(step.shape[1])
    safe = np.where(np.isfinite(along), along, -1e3)
    left, middle, right = (safe[inner + d, columns] for d in (-1, 0, 1))
    bend = left - 2 * middle + right
    part = np.where(bend < -1e-9, 0.5 * (left - right) / np.where(bend < -1e-9, bend, -1), 0)
    ends = (left < -900) | (right < -900)
    place = offsets[inner] + np.where(ends, 0.0, np.clip(part, -0.5, 0.5))
    weight = np.clip(np.where(np.isfinite(middle), middle, 0.0), 0.0, None)
    # A place at the end of the window is not a maximum.
    return place, np.where(ends, 0.1 * weight, weight)


def _direction(step: Points) -> Points:
    """Unit vector (3,) in channel space along which the step is most common."""
    at = np.argmax((step**2).sum(axis=2), axis=0)
    joint = step[at, np.arange(step.shape[1])]
    joint = joint[(joint**2).sum(axis=1) > 0]
    if len(joint) == 0:
        return np.array([1.0, 0.0, 0.0])
    middle = np.median(joint, axis=0)
    norm = float(np.linalg.norm(middle))
    if norm > 0.2 * float(np.median(np.linalg.norm(joint, axis=1))):
        return np.asarray(middle / norm)
    # Signs that differ between blocks leave a small median: the axis, then its sign.
    _, _, axes = np.linalg.svd(joint / np.linalg.norm(joint, axis=1, keepdims=True))
    sign = 1.0 if np.median(joint @ axes[0]) >= 0 else -1.0
    return np.asarray(sign * axes[0])


def _smooth(place: Points, weight: Points, *, stiffness: float) -> tuple[Points, float, float]:
    """Robust smooth curve through block measurements (Whittaker 1923).

    Minimises sum w (place - z)^2 + stiffness sum (second difference of z)^2 with
    bisquare weights on top; returns the curve, the spread and the share kept.
    """
    typical = float(np.median(weight[weight > 0])) if (weight > 0).any() else 1.0
    base = np.minimum(weight / typical, 1.5)
    course = whittaker(place, base + 1e-6, max(stiffness, 1e4))
    spread = 1.0
    trust = base
    for k in range(8):
        off = np.abs(place - course)
        spread = max(1.4826 * _weighted_median(off, base), 0.15)
        trust = base * np.clip(1 - (off / (4.0 * spread)) ** 2, 0, 1) ** 2
        stiff = max(stiffness, 1e4 / 8**k)
        course = whittaker(place, trust + 1e-6, stiff)
    return course, spread, float((trust > 0.2).mean())


def _weighted_median(values: Points, weight: Points) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    if total[-1] <= 0:
        return float(np.median(values))
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
