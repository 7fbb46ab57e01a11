"""Straightened profiles across the layers, and the flow made exact with them."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from damagescore.edge.flow import BOW_TERMS, STRETCH_TERMS, Flow, powers
from damagescore.edge.paths import whittaker
from damagescore.edge.sampling import medians, sample
from damagescore.side_by_side import side_by_side

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

BLOCK_COLUMNS = 12

AGREE_ROWS = 1.0
"""Rows within which the windows of a block have to agree on a wave."""

WAVE_STIFFNESS = 0.3
"""Smoothness of a common wave over blocks: half of a wave six blocks long is kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduced:
    """The photo at the size in which the layers are looked for.

    Parameters
    ----------
    channels : ndarray of float32, shape (h, w, 3)
        Logarithm of the luma and two log ratios, red/luma and blue/luma: light
        and shade add a constant to the first and leave the others alone.
    usable : ndarray of bool, shape (h, w)
        False on scale marks and beyond the turn that may be judged.
    factor : float
        Reduced pixels per photo pixel.
    """

    channels: Image
    usable: Mask
    factor: float

    @property
    def log_grey(self) -> Image:
        return np.ascontiguousarray(self.channels[..., 0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Profiles:
    """Block-wise median profiles across the layers.

    Parameters
    ----------
    levels_px : ndarray, shape (V,)
        Level v of each row, photo pixels, equally spaced.
    s_px : ndarray, shape (B,)
        Middle of each block along the layers.
    values : ndarray, shape (V, B, C)
        Median of each channel; NaN where the block is not in the photo.
    """

    levels_px: Points
    s_px: Points
    values: Image

    @property
    def step_px(self) -> float:
        return float(self.levels_px[1] - self.levels_px[0])


def profiles_along(
    reduced: Reduced, flow: Flow, *, reach_px: tuple[float, float], colour: bool = True
) -> Profiles:
    """Sample the reduced photo along the flow and take block medians.

    Parameters
    ----------
    reduced : Reduced
    flow : Flow
    reach_px : tuple of float
        Half lengths along and across the layers, photo pixels.
    colour : bool
        False takes only the first channel, log luma.
    """
    step = 1.0 / reduced.factor
    count = int(2 * reach_px[0] / (2 * step)) // BLOCK_COLUMNS * BLOCK_COLUMNS
    s: Points = (np.arange(count, dtype=np.float64) - (count - 1) / 2) * 2 * step
    half = int(reach_px[1] / step)
    levels: Points = np.arange(-half, half + 1, dtype=np.float64) * step
    channels = np.ascontiguousarray(reduced.channels if colour else reduced.channels[..., :1])

    def medians_at(some: Points) -> Image:
        factor, centre = np.float32(reduced.factor), np.float32(0.5)
        x, y = ((at + centre) * factor - centre for at in flow.grid_px(s, some))
        seen = _seen(reduced.usable, x, y)
        return _block_medians(sample(channels, x, y).reshape(*x.shape, -1), seen)

    values = side_by_side(medians_at, np.array_split(levels, 2))
    return Profiles(
        levels_px=levels,
        s_px=s.reshape(-1, BLOCK_COLUMNS).mean(axis=1),
        values=np.concatenate(values),
    )


def _seen(usable: Mask, x: Image, y: Image) -> Mask:
    """Whether reduced pixels (h, w) are usable; what lies outside the photo is not."""
    taken = cv2.remap(
        usable.view(np.uint8), x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT
    )
    return np.asarray(taken, np.uint8) > 0


def _block_medians(sampled: Image, seen: Mask) -> Image:
    rows, columns, kinds = sampled.shape
    blocks = columns // BLOCK_COLUMNS
    shaped = sampled.reshape(rows, blocks, BLOCK_COLUMNS, kinds)
    values = medians(shaped, 2)
    share = seen.reshape(rows, blocks, BLOCK_COLUMNS).mean(axis=2)
    values[share < 0.75] = np.nan
    return values


PASSES = ((3.0, 14, 0.35), (2.0, 9, 1.0), (1.2, 5, 1.0))
"""Blur (rows), most shift (rows) and share of blocks compared with, per pass."""


def follow_layers(
    reduced: Reduced,
    flow: Flow,
    *,
    reach_px: tuple[float, float],
    between_px: tuple[float, float] | None = None,
    passes: tuple[tuple[float, int, float], ...] = PASSES,
    direction: Points | None = None,
) -> Flow:
    """Correct the flow until the profiles of all blocks lie on one another.

    Each block is compared with the common profile, in windows across the
    layers; the shifts found give new terms of bow and convergence by a robust
    fit. The passes go from wide and blurred to narrow and sharp. With
    `between_px` only those levels count (the stack, once it is known), and what the
    windows of a block have in common beyond those terms is taken for a wave of all
    layers; with `direction` the steps are taken in that mix of channels (how a shim
    differs).
    """
    for width, most, middle in passes:
        profiles = profiles_along(
            reduced, flow, reach_px=reach_px, colour=direction is not None
        )
        rise = _rise(profiles, width, direction)
        if between_px is not None:
            levels = profiles.levels_px
            rise[(levels < between_px[0]) | (levels > between_px[1])] = 0.0
        shifts = _shifts(rise, most=most, middle=middle)
        flow = _absorb(flow, profiles, shifts, waves=between_px is not None)
    return flow


def _rise(profiles: Profiles, width: float, direction: Points | None) -> Points:
    """Derivative of one channel across the layers, shape (V, B); 0 where unseen."""
    grey = profiles.values[..., 0] if direction is None else profiles.values @ direction
    known = np.isfinite(grey)
    if not known.any():
        return np.zeros(grey.shape)
    filled = np.where(known, grey, np.nanmedian(grey)).astype(np.float64)
    rise = gaussian_filter1d(filled, width, axis=0, order=1)
    near_hole = uniform_filter1d((~known).astype(np.float64), int(6 * width) | 1, axis=0) > 0
    # One strong edge (a card, the bench) must not steer a whole window.
    cap = (
        3.0 * float(np.percentile(np.abs(rise[~near_hole]), 90)) if (~near_hole).any() else 1.0
    )
    return np.where(near_hole, 0.0, np.clip(rise, -cap, cap))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shifts:
    """Shift (rows), row of the window's middle and weight, shape (windows, B)."""

    rows: Points
    shift: Points
    weight: Points


def _shifts(rise: Points, *, most: int, middle: float) -> _Shifts:
    rows, blocks = rise.shape
    half = max(int(blocks * middle / 2), 1)
    centre = blocks // 2
    common = np.median(rise[:, max(centre - half, 0) : centre + half + 1], axis=1)
    window = max(rows // 6, 3 * most)
    tried = np.arange(-most, most + 1, dtype=np.float64)
    picked = np.arange(window // 2, rows - window // 2, max(window // 2, 1))
    score = np.empty((len(tried), len(picked), blocks))
    power = np.sqrt(np.maximum(uniform_filter1d(rise**2, window, axis=0), 0.0) + 1e-12)
    for i, k in enumerate(range(-most, most + 1)):
        product = np.roll(rise, -k, axis=0) * common[:, None]
        score[i] = _window_means(product, picked, window) / power[(picked + k) % rows]
    common_power = np.sqrt(np.maximum(_window_means(common**2, picked, window), 0.0))
    return _peaks(score, tried, picked, common_power)


def _window_means(values: Points, middles: NDArray[np.intp], window: int) -> Points:
    """Means over the rows around some middles, whose windows lie within (V, ...)."""
    total = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
    first = middles - window // 2
    return np.asarray((total[first + window] - total[first]) / window)


def _peaks(
    score: Points, tried: Points, picked: NDArray[np.intp], common_power: Points
) -> _Shifts:
    best = np.argmax(score, axis=0)
    inner = np.clip(best, 1, len(tried) - 2)
    take = [np.take_along_axis(score, (inner + d)[None], axis=0)[0] for d in (-1, 0, 1)]
    bend = take[0] - 2 * take[1] + take[2]
    part = np.where(bend < 0, 0.5 * (take[0] - take[2]) / np.where(bend < 0, bend, -1.0), 0.0)
    alike = np.clip(take[1] / (common_power[:, None] + 1e-12), 0.0, 1.0)
    # A best shift at the end of the search is no maximum.
    weight = np.where(best == inner, alike**4 * common_power[:, None], 0.0)
    rows = np.broadcast_to(picked[:, None], best.shape).astype(np.float64)
    return _Shifts(rows=rows, shift=tried[inner] + np.clip(part, -1, 1), weight=weight)


def _absorb(flow: Flow, profiles: Profiles, shifts: _Shifts, *, waves: bool) -> Flow:
    step = profiles.step_px
    v = profiles.levels_px[0] + shifts.rows * step
    u = np.broadcast_to(profiles.s_px / flow.length_px, v.shape)
    design = np.concatenate(
        [powers(u, BOW_TERMS), (v / flow.length_px)[..., None] * powers(u, STRETCH_TERMS)],
        axis=-1,
    ).reshape(-1, BOW_TERMS + STRETCH_TERMS)
    target, weight = shifts.shift.ravel() * step, shifts.weight.ravel()
    if np.count_nonzero(weight) < 30:
        return flow
    ridge = np.diag([0.0, 0.0, 1e-7, 1e-7, 0.0, 1e-6]) * weight.sum()
    terms = np.zeros(design.shape[1])
    for spread in (4 * step, 2 * step, step, 0.5 * step, 0.5 * step):
        w = weight / (1 + ((target - design @ terms) / spread) ** 2)
        terms = np.linalg.solve(
            design.T @ (design * w[:, None]) + ridge, design.T @ (w * target)
        )
    stretch = terms[BOW_TERMS:] / flow.length_px
    # height = v + shift(s, v): the new terms add to those of the old flow.
    found = flow.corrected(terms[:BOW_TERMS], stretch)
    if not waves:
        return found
    rest = (target - design @ terms).reshape(v.shape)
    return found.waved(profiles.s_px, _common_wave(rest, shifts.weight, step))


def _common_wave(rest_px: Points, weight: Points, step_px: float) -> Points:
    """What the windows of each block have left in common, smoothed along the layers, (B,)."""
    order = np.argsort(rest_px, axis=0)
    ordered = np.take_along_axis(weight, order, axis=0).cumsum(axis=0)
    middle = np.argmax(ordered >= ordered[-1] / 2, axis=0)
    columns = np.arange(rest_px.shape[1])
    usual = rest_px[order[middle, columns], columns]
    # windows that do not agree tell of no common wave
    apart = np.abs(rest_px - usual) < AGREE_ROWS * step_px
    trust = (weight * apart).sum(axis=0) ** 2 / np.maximum(weight.sum(axis=0), 1e-12)
    typical = float(np.median(trust[trust > 0])) if (trust > 0).any() else 1.0
    return whittaker(usual, np.minimum(trust / typical, 1.5) + 1e-3, WAVE_STIFFNESS)
