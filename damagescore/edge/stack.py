"""The stack of rubber and shims in straightened profiles."""

from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from damagescore.edge.bands import (
    MOSTLY_SHOWN,
    PARTLY_SHOWN,
    SHIM_MM,
    Band,
    band_contrasts,
    known_quantile,
    profile_noise,
)
from damagescore.edge.chain import best_chain, unlike
from damagescore.edge.doubt import doubt_of
from damagescore.edge.ends import end_of_rubber
from damagescore.edge.straighten import Profiles

Points = NDArray[np.float64]

LEAST_CLARITY, LEAST_CLARITY_PARTLY = 4.0, 6.0
"""Chains below this occur on plates, benches and cards without any stack; the second is for
shims that are seen on a part of their length only."""

LEAST_BEYOND = 0.6
"""Unlikeness beyond both outer shims from which on it is no rubber, but a plate."""

BEYOND_SHARE, LIKE_RUBBER = 0.35, 0.45
"""Pitches beyond an end that are compared with the rubber inside it, and how unlike a plate
is at least; the stacks found where none was, or short of a layer, reached 0.15 to 0.49 on
the profiles that this was developed on, the right ones 0.37 and 0.6 to 16."""

MOSTLY_SEEN, PARTLY_SEEN = 0.5, 0.3
"""Shares of the length on which rubber must be seen beyond an end shim: the second is
tried where the first finds no stack, for a rule or a smear may hide the rest."""

AS_THICK = 0.8
"""Thickness of the bands over that of what lies between from which on either may be shims."""

THICKEST_GAP_MM = 1.5
"""Gaps up to this may be shims: the thickest, and what their outlines are off by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """Levels of the stack in the flow's coordinate, photo pixels, upper first.

    `shims` are (middle, thickness) pairs; `top` and `bottom` end the outermost
    rubber; `clarity` is the score that told this stack from others; `direction`
    (3,) weighs the channels so that shims differ most from rubber; `doubt` says why
    the number of layers is not sure, and is empty where it is.
    """

    top: float
    bottom: float
    shims: tuple[tuple[float, float], ...]
    clarity: float
    direction: Points
    doubt: str = ""

    @property
    def pitch_px(self) -> float:
        middles = [m for m, _ in self.shims]
        if len(middles) > 1:
            return (middles[-1] - middles[0]) / (len(middles) - 1)
        return (self.bottom - self.top) / 2


def find_stack(
    profiles: Profiles, *, mm_per_px: float, n_layers: int | None = None, partly: bool = False
) -> Stack | None:
    """Find the stack of rubber and shims in straightened profiles.

    Parameters
    ----------
    profiles : Profiles
    mm_per_px : float
        Millimetres per photo pixel across the layers.
    n_layers : int or None
        Number of rubber layers where it is known.
    partly : bool
        Whether shims that show on a part of the blocks only may make a stack, where no
        other is found.

    Returns
    -------
    Stack or None
        None where no chain of shims stands out. A stack with a single shim is
        only found when it is told: one band alone is too often something else.
    """
    for shown in (MOSTLY_SHOWN, PARTLY_SHOWN) if partly else (MOSTLY_SHOWN,):
        contrasts = band_contrasts(profiles, mm_per_px=mm_per_px, shown=shown)
        least = LEAST_CLARITY if shown == MOSTLY_SHOWN else LEAST_CLARITY_PARTLY
        bands = contrasts.bands()
        clear = partial(
            _clear_chain, profiles=profiles, mm_per_px=mm_per_px, n_layers=n_layers, least=least
        )
        found = clear(bands)
        if found is not None:
            # What differs from rubber as these do, whatever else differs more beside it.
            alike = contrasts.bands(like=np.sum([b.contrast for b in found[0]], axis=0))
            again = clear(alike)
            if again is not None and again[1] > found[1]:
                bands, found = alike, again
            break
    else:
        return None
    chain, clarity = found
    shims = _measured_shims(chain, profiles, mm_per_px=mm_per_px)
    top = end_of_rubber(profiles, shims, mm_per_px=mm_per_px, downwards=False)
    bottom = end_of_rubber(profiles, shims, mm_per_px=mm_per_px, downwards=True)
    if top is None or bottom is None:
        return None
    direction = np.sum([b.contrast for b in chain], axis=0) / profile_noise(profiles)
    doubt = ""
    if n_layers is None:
        doubt = "the shims are seen on a part of their length only"
        if shown == MOSTLY_SHOWN:
            doubt = doubt_of(bands, chain, ends=(top, bottom))
        turned = _turned_doubt(profiles, chain, shims, mm_per_px=mm_per_px)
        if turned is not None:
            (shims, top, bottom), doubt = _turned_over(shims), turned
    return Stack(
        top=top,
        bottom=bottom,
        shims=shims,
        clarity=clarity,
        direction=direction / (np.linalg.norm(direction) + 1e-12),
        doubt=doubt,
    )


def _clear_chain(
    bands: list[Band],
    *,
    profiles: Profiles,
    mm_per_px: float,
    n_layers: int | None,
    least: float,
) -> tuple[list[Band], float] | None:
    """The best chain and its clarity; None where none is clear enough."""
    for seen in (MOSTLY_SEEN, PARTLY_SEEN):
        chain, clarity = best_chain(
            bands, profiles, mm_per_px=mm_per_px, n_layers=n_layers, seen=seen
        )
        if chain and (n_layers is not None or clarity >= least):
            return chain, clarity
    return None


def _turned_over(
    shims: tuple[tuple[float, float], ...],
) -> tuple[tuple[tuple[float, float], ...], float, float]:
    """Shims, top and bottom of the stack whose rubber was taken for shims."""
    edges = [(m - t / 2, m + t / 2) for m, t in shims]
    pairs = pairwise(edges)
    between = tuple(((b[0] + a[1]) / 2, b[0] - a[1]) for a, b in pairs)
    return between, edges[0][0], edges[-1][1]


def _turned_doubt(
    profiles: Profiles,
    chain: list[Band],
    shims: tuple[tuple[float, float], ...],
    *,
    mm_per_px: float,
) -> str | None:
    """The doubt that is left if the bands are rather the rubber; None if they are shims.

    Where shims are about as thick as rubber either may be taken for the other. What
    lies beyond the outer shims is rubber, as alike as that between shims is; where
    it is not so on either side it is a plate, and the stack ends with the last band.
    A plate that looks like the shims tells nothing: then the darker ones are the rubber.
    """
    gaps = [b[0] - a[0] - (a[1] + b[1]) / 2 for a, b in pairwise(shims)]
    if len(shims) < 3 or max(gaps) * mm_per_px > THICKEST_GAP_MM:
        return None
    between = [
        _mean_of(profiles, a[0] + a[1] / 2, g)
        for (a, _), g in zip(pairwise(shims), gaps, strict=True)
    ]
    upper = _mean_of(profiles, shims[0][0] - shims[0][1] / 2 - gaps[0], gaps[0])
    lower = _mean_of(profiles, shims[-1][0] + shims[-1][1] / 2, gaps[-1])
    usual = max(unlike(a, b) for a, b in pairwise(between))
    beyond = min(unlike(upper, between[0]), unlike(lower, between[-1]))
    if beyond > max(LEAST_BEYOND, 2.0 * usual):
        return ""
    as_thick = float(np.median([t for _, t in shims])) > AS_THICK * float(np.median(gaps))
    if as_thick and np.mean([b.contrast[0] for b in chain]) < 0:
        return "shims and rubber are as thick as each other and may be mixed up"
    return None


def goes_on(profiles: Profiles, stack: Stack, *, alike: float = LIKE_RUBBER) -> bool:
    """Whether what lies beyond an end of a stack looks like the rubber inside it.

    Then the stack may go on there, with shims that are not seen, or be none at all.
    `alike` is how unlike a plate is at least.
    """
    (upper, thick), (lower, _) = stack.shims[0], stack.shims[-1]
    reach = BEYOND_SHARE * stack.pitch_px
    above = upper - thick / 2 - stack.top
    below = stack.bottom - lower - thick / 2
    pairs = (
        (_mean_of(profiles, stack.top - reach, reach), _mean_of(profiles, stack.top, above)),
        (
            _mean_of(profiles, stack.bottom, reach),
            _mean_of(profiles, stack.bottom - below, below),
        ),
    )
    return any(unlike(outer, inner) < alike for outer, inner in pairs)


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
