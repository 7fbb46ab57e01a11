"""Which of the bands are the shims of one stack, and where the stack ends."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from damagescore.edge.bands import (
    SHIM_MM,
    Band,
    box_means,
    find_bands,
    known_quantile,
    profile_noise,
)
from damagescore.edge.straighten import Profiles

Points = NDArray[np.float64]
_Chain = tuple[int, int, int]

RUBBER_MM = (0.7, 5.6)
PITCH_RATIO = 1.8
"""Neighbouring pitches differ by no more than this."""

LEAST_CLARITY = 4.0
"""Chains below this occur on plates, benches and cards without any stack."""

LEAST_BEYOND = 0.6
"""Unlikeness beyond both outer shims from which on it is no rubber, but a plate."""

THICKEST_GAP_MM = 1.5
"""Gaps up to this may be shims: the thickest, and what their outlines are off by."""

LIKENESS = np.array([0.3, 0.07, 0.07])
"""Change of log luma and colour ratios between rubber layers that still counts
as the same material: dust, bloom and a light that falls off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """Levels of the stack in the flow's coordinate, photo pixels, upper first.

    `shims` are (middle, thickness) pairs; `top` and `bottom` end the outermost
    rubber; `clarity` is the score that told this stack from others; `direction`
    (3,) weighs the channels so that shims differ most from rubber.
    """

    top: float
    bottom: float
    shims: tuple[tuple[float, float], ...]
    clarity: float
    direction: Points

    @property
    def pitch_px(self) -> float:
        middles = [m for m, _ in self.shims]
        if len(middles) > 1:
            return (middles[-1] - middles[0]) / (len(middles) - 1)
        return (self.bottom - self.top) / 2


def find_stack(
    profiles: Profiles, *, mm_per_px: float, n_layers: int | None = None
) -> Stack | None:
    """Find the stack of rubber and shims in straightened profiles.

    Parameters
    ----------
    profiles : Profiles
    mm_per_px : float
        Millimetres per photo pixel across the layers.
    n_layers : int or None
        Number of rubber layers where it is known.

    Returns
    -------
    Stack or None
        None where no chain of shims stands out. A stack with a single shim is
        only found when it is told: one band alone is too often something else.
    """
    bands = find_bands(profiles, mm_per_px=mm_per_px)
    chain, clarity = _best_chain(bands, profiles, mm_per_px=mm_per_px, n_layers=n_layers)
    if not chain or (n_layers is None and clarity < LEAST_CLARITY):
        return None
    shims = _measured_shims(chain, profiles, mm_per_px=mm_per_px)
    top = _end(profiles, shims, mm_per_px=mm_per_px, downwards=False)
    bottom = _end(profiles, shims, mm_per_px=mm_per_px, downwards=True)
    if top is None or bottom is None:
        return None
    direction = np.sum([b.contrast for b in chain], axis=0) / profile_noise(profiles)
    if n_layers is None and _rubber_taken(profiles, shims, mm_per_px=mm_per_px):
        shims, top, bottom = _turned_over(shims)
    return Stack(
        top=top,
        bottom=bottom,
        shims=shims,
        clarity=clarity,
        direction=direction / (np.linalg.norm(direction) + 1e-12),
    )


def _turned_over(
    shims: tuple[tuple[float, float], ...],
) -> tuple[tuple[tuple[float, float], ...], float, float]:
    """Shims, top and bottom of the stack whose rubber was taken for shims."""
    edges = [(m - t / 2, m + t / 2) for m, t in shims]
    pairs = pairwise(edges)
    between = tuple(((b[0] + a[1]) / 2, b[0] - a[1]) for a, b in pairs)
    return between, edges[0][0], edges[-1][1]


def _rubber_taken(
    profiles: Profiles, shims: tuple[tuple[float, float], ...], *, mm_per_px: float
) -> bool:
    """Whether the bands are rather the rubber, and what is between them the shims.

    Where shims are about as thick as rubber either may be taken for the other. What
    lies beyond the outer shims is rubber, as alike as that between shims is; where
    it is not so on either side it is a plate, and the stack ends with the last band.
    """
    gaps = [b[0] - a[0] - (a[1] + b[1]) / 2 for a, b in pairwise(shims)]
    if len(shims) < 3 or max(gaps) * mm_per_px > THICKEST_GAP_MM:
        return False
    between = [
        _mean_of(profiles, a[0] + a[1] / 2, g)
        for (a, _), g in zip(pairwise(shims), gaps, strict=True)
    ]
    upper = _mean_of(profiles, shims[0][0] - shims[0][1] / 2 - gaps[0], gaps[0])
    lower = _mean_of(profiles, shims[-1][0] + shims[-1][1] / 2, gaps[-1])
    usual = max(_unlike(a, b) for a, b in pairwise(between))
    beyond = min(_unlike(upper, between[0]), _unlike(lower, between[-1]))
    return beyond > max(LEAST_BEYOND, 2.0 * usual)


def _mean_of(profiles: Profiles, start: float, length: float) -> Points:
    """Mean of each channel per block (B, 3) over the middle of a layer."""
    away = (profiles.levels_px - start) / length
    rows = (away > 0.2) & (away < 0.8)
    if not rows.any():
        return np.full(profiles.values.shape[1:], np.nan)
    return np.asarray(profiles.values[rows].mean(axis=0), dtype=np.float64)


def _measured_shims(
    chain: list[Band], profiles: Profiles, *, mm_per_px: float
) -> tuple[tuple[float, float], ...]:
    """Middle and thickness of each shim from its two strongest opposite steps.

    All shims of a stack are of one sheet: what they have in common in colour and
    thickness settles the doubtful ones.
    """
    change = gaussian_filter1d(
        known_quantile(profiles.values.astype(np.float64), 0.5), 1.0, axis=0, order=1
    )
    direction = np.sum([b.contrast for b in chain], axis=0)
    direction /= np.linalg.norm(direction) + 1e-9
    rise = np.nan_to_num(change / profile_noise(profiles)) @ direction
    mm_per_row = profiles.step_px * mm_per_px
    first = [_opposite_steps(b, profiles, rise, mm_per_row, (0.15, SHIM_MM[1])) for b in chain]
    usual = float(np.median([t for _, t in first])) * mm_per_px
    limits = (0.6 * usual, max(1.5 * usual, 2 * mm_per_row))
    return tuple(_opposite_steps(b, profiles, rise, mm_per_row, limits) for b in chain)


def _opposite_steps(
    band: Band,
    profiles: Profiles,
    rise: Points,
    mm_per_row: float,
    thickness_mm: tuple[float, float],
) -> tuple[float, float]:
    rows = np.arange(len(rise)) - int(np.argmin(np.abs(profiles.levels_px - band.level_px)))
    reach, slack = 1.1 / mm_per_row, 0.25 / mm_per_row
    upper = np.flatnonzero((rows >= -reach) & (rows <= slack))
    lower = np.flatnonzero((rows >= -slack) & (rows <= reach))
    thick = (lower[None, :] - upper[:, None]) * mm_per_row
    allowed = (thick >= thickness_mm[0]) & (thick <= thickness_mm[1])
    up, down = np.maximum(rise[upper], 0.0), np.maximum(-rise[lower], 0.0)
    # The product of both, not the weaker: a soft side still has its best place.
    joint = np.where(allowed, np.sqrt(np.multiply.outer(up + 0.1, down + 0.1)), -1e9)
    a, b = np.unravel_index(int(np.argmax(joint)), joint.shape)
    ends = profiles.levels_px[[upper[a], lower[b]]]
    return float(ends.mean()), float(ends[1] - ends[0])


def _best_chain(
    bands: list[Band], profiles: Profiles, *, mm_per_px: float, n_layers: int | None
) -> tuple[list[Band], float]:
    best: list[Band] = []
    best_score = 0.0
    for seed in bands[:8]:
        alike = [b for b in bands if _same_material(b, seed)][:24]
        alike.sort(key=lambda b: b.level_px)
        chain, score = _chain_of(alike, profiles, mm_per_px=mm_per_px, n_layers=n_layers)
        if score > best_score:
            best, best_score = chain, score
    return best, best_score


def _same_material(band: Band, seed: Band) -> bool:
    cosine = float(band.contrast @ seed.contrast)
    cosine /= float(np.linalg.norm(band.contrast) * np.linalg.norm(seed.contrast)) + 1e-9
    return cosine > 0.6 and band.strength > 0.2 * seed.strength


def _value(band: Band) -> float:
    return math.sqrt(band.strength) - 1.0


def _chain_of(
    bands: list[Band], profiles: Profiles, *, mm_per_px: float, n_layers: int | None
) -> tuple[list[Band], float]:
    """Best chain of bands as neighbouring shims, and its score."""
    if n_layers == 2:
        top = max(bands, key=_value, default=None)
        return ([], 0.0) if top is None else ([top], _value(top))
    between = _between(bands, profiles)
    score, back = _scored_chains(bands, profiles, between, mm_per_px=mm_per_px)
    fitting = {
        (n, i, j): reached - _beyond(profiles, between, bands, (i, j), upper=False)
        for (n, i, j), reached in score.items()
        if n_layers is None or n == n_layers - 1
    }
    if not fitting:
        return [], 0.0
    end = max(fitting, key=lambda k: fitting[k])
    return _walk_back(bands, back, end), fitting[end]


def _scored_chains(
    bands: list[Band],
    profiles: Profiles,
    between: dict[tuple[int, int], Points],
    *,
    mm_per_px: float,
) -> tuple[dict[_Chain, float], dict[_Chain, int]]:
    """Dynamic programme: chains of n bands that end with the pair (i, j)."""
    low, high = RUBBER_MM[0] / mm_per_px, (RUBBER_MM[1] + 1.0) / mm_per_px
    score: dict[_Chain, float] = {}
    back: dict[_Chain, int] = {}
    pairs = [
        (i, j)
        for j in range(len(bands))
        for i in range(j)
        if low < bands[j].level_px - bands[i].level_px < high
    ]
    for i, j in pairs:
        start = _value(bands[i]) + _value(bands[j])
        score[2, i, j] = start - _beyond(profiles, between, bands, (i, j), upper=True)
        for n, h, k in [key for key in score if key[2] == i]:
            cost = _mismatch(bands, between, (h, k, j))
            reached = score[n, h, k] + _value(bands[j]) - cost
            if reached > score.get((n + 1, i, j), -math.inf):
                score[n + 1, i, j], back[n + 1, i, j] = reached, h
    return score, back


def _walk_back(bands: list[Band], back: dict[_Chain, int], end: _Chain) -> list[Band]:
    n, i, j = end
    picked = [j, i]
    while (n, i, j) in back:
        n, i, j = n - 1, back[n, i, j], i
        picked.append(i)
    return [bands[k] for k in reversed(picked)]


def _between(bands: list[Band], profiles: Profiles) -> dict[tuple[int, int], Points]:
    """Mean of each channel per block in the gap between two bands, shape (B, 3)."""
    first, step = profiles.levels_px[0], profiles.step_px
    found = {}
    for i, upper in enumerate(bands):
        for j in range(i + 1, len(bands)):
            lower = bands[j]
            start = (upper.level_px + upper.thickness_px - first) / step + 1
            stop = (lower.level_px - lower.thickness_px - first) / step
            if stop - start >= 2:
                found[i, j] = profiles.values[int(start) : int(stop)].mean(axis=0)
    return found


def _beyond(
    profiles: Profiles,
    between: dict[tuple[int, int], Points],
    bands: list[Band],
    pair: tuple[int, int],
    *,
    upper: bool,
) -> float:
    """Cost of an end shim beyond which there is no rubber (a strip of plate)."""
    if pair not in between:
        return math.inf
    first, last = bands[pair[0]], bands[pair[1]]
    pitch = last.level_px - first.level_px
    end = first if upper else last
    sign = -1.0 if upper else 1.0
    reach = sorted(
        (end.level_px + sign * (end.thickness_px / 2 + 0.08 * pitch),
         end.level_px + sign * 0.5 * pitch)
    )  # fmt: skip
    rows = (profiles.levels_px > reach[0]) & (profiles.levels_px < reach[1])
    if not rows.any():
        return math.inf
    return 1.5 * _unlike(profiles.values[rows].mean(axis=0), between[pair]) ** 2


def _unlike(some: Points, other: Points) -> float:
    """How unlike two means per block (B, 3) are; 1 is the most that passes."""
    apart = np.sqrt((((some - other) / LIKENESS) ** 2).sum(axis=1))
    known = apart[np.isfinite(apart)]
    return float(np.median(known)) if len(known) else 2.0


def _mismatch(
    bands: list[Band], between: dict[tuple[int, int], Points], chain: tuple[int, int, int]
) -> float:
    h, i, j = chain
    upper, lower = (bands[b].level_px - bands[a].level_px for a, b in ((h, i), (i, j)))
    ratio = abs(math.log(lower / upper))
    if ratio > math.log(PITCH_RATIO) or (h, i) not in between or (i, j) not in between:
        return math.inf
    unlike = _unlike(between[h, i], between[i, j])
    return 1.5 * (ratio / 0.2) ** 2 + 1.5 * unlike**2


def _end(
    profiles: Profiles,
    shims: tuple[tuple[float, float], ...],
    *,
    mm_per_px: float,
    downwards: bool,
) -> float | None:
    """Level at which the rubber beyond the last shim ends.

    Weighs for each strong step: how strong it is in all channels, how well it
    parts what looks like the rubber between shims from what does not, and how
    near the layer's thickness is to that of the others.
    """
    turned = profiles if downwards else _upside_down(profiles)
    sign = 1.0 if downwards else -1.0
    ordered = [(sign * m, t) for m, t in (shims if downwards else reversed(shims))]
    last, thickness = ordered[-1]
    usual = (ordered[-1][0] - ordered[0][0]) / max(len(ordered) - 1, 1) - thickness
    start = last + thickness / 2
    known_pitch = len(ordered) > 1
    span = (
        (0.5 * usual, 1.6 * usual) if known_pitch else tuple(x / mm_per_px for x in RUBBER_MM)
    )
    levels = turned.levels_px - start
    inside = (levels > span[0]) & (levels < span[1])
    if not inside.any():
        return None
    worth = _end_worth(turned, levels, mm_per_px)
    if known_pitch:
        worth -= 2.0 * (np.log(np.maximum(levels, 1.0) / usual) / 0.2) ** 2
    worth[~inside] = -math.inf
    return sign * float(turned.levels_px[int(np.argmax(worth))])


def _upside_down(profiles: Profiles) -> Profiles:
    return Profiles(
        levels_px=-profiles.levels_px[::-1],
        s_px=profiles.s_px,
        values=profiles.values[::-1],
    )


def _end_worth(profiles: Profiles, levels: Points, mm_per_px: float) -> Points:
    rows_per_mm = 1.0 / (profiles.step_px * mm_per_px)
    noise = profile_noise(profiles)
    step = _steps(profiles, noise, rows_per_mm)
    unlike = _unlikeness(profiles, levels, rows_per_mm)
    # Change point: all rows up to the end like rubber, those after it unlike.
    near = (levels > 0.15 / mm_per_px) & np.isfinite(unlike)
    before = np.cumsum(np.where(near, unlike - 1.0, 0.0)) / rows_per_mm
    return 2.0 * np.log1p(step) - 1.5 * before


def _steps(profiles: Profiles, noise: Points, rows_per_mm: float) -> Points:
    """Strength of the common step at each row, over the noise."""
    above = box_means(profiles.values, -0.25 * rows_per_mm, -0.08 * rows_per_mm)
    below = box_means(profiles.values, 0.08 * rows_per_mm, 0.25 * rows_per_mm)
    change = (below - above) / noise
    middle = known_quantile(change, 0.5)
    weakest = np.where(middle > 0, known_quantile(change, 0.25), known_quantile(change, 0.75))
    common = np.where(middle * weakest > 0, (middle + weakest) / 2, 0.0)
    return np.asarray(gaussian_filter1d(np.sqrt((np.nan_to_num(common) ** 2).sum(axis=1)), 0.5))


def _unlikeness(profiles: Profiles, levels: Points, rows_per_mm: float) -> Points:
    """How unlike the rubber next to the last shim each row is, 0 to 2."""
    near = (levels > 0.15 * rows_per_mm * profiles.step_px) & (
        levels < 0.6 * rows_per_mm * profiles.step_px
    )
    rubber = known_quantile(profiles.values[near].transpose(1, 0, 2), 0.5)
    apart = np.sqrt((((profiles.values - rubber) / LIKENESS) ** 2).sum(axis=2))
    return np.minimum(known_quantile(apart, 0.5), 2.0)
