"""Which of the bands are the shims of one stack: the best chain of them."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.bands import Band
from damagescore.edge.straighten import Profiles

Points = NDArray[np.float64]
_Chain = tuple[int, int, int]

RUBBER_MM = (0.7, 5.6)
PITCH_RATIO = 1.8
"""Neighbouring pitches differ by no more than this."""

LEAST_GAP = 0.9
"""Rubber between shims over their thickness: where plates look like shims, rubber would
else pass for shims and shims for rubber."""

WEAKER = 0.7
"""Log of the strength of an end shim over that of the next one that still counts as the
same sheet: a lit rim of a plate like the rubber is far weaker."""

LIKENESS = np.array([0.3, 0.07, 0.07])
"""Change of log luma and colour ratios between rubber layers that still counts
as the same material: dust, bloom and a light that falls off."""


def best_chain(
    bands: list[Band],
    profiles: Profiles,
    *,
    mm_per_px: float,
    n_layers: int | None,
    seen: float = 0.5,
) -> tuple[list[Band], float]:
    """The bands that are most likely the shims of one stack, upper first, and their score.

    Each of the strongest bands is tried as the one that the others have to be like.
    `seen` is the share of the length on which rubber must be seen beyond the end shims.
    """
    best: list[Band] = []
    best_score = 0.0
    reach = RUBBER_MM[0] / mm_per_px, (RUBBER_MM[1] + 1.0) / mm_per_px
    tried: set[tuple[float, ...]] = set()
    for seed in bands[:8]:
        alike = [b for b in bands if same_material(b, seed)][:24]
        alike.sort(key=lambda b: b.level_px)
        levels = tuple(b.level_px for b in alike)
        if levels in tried:
            continue
        tried.add(levels)
        chain, score = _chain_of(alike, profiles, reach, n_layers=n_layers, seen=seen)
        if score > best_score:
            best, best_score = chain, score
    return best, best_score


def same_material(band: Band, seed: Band) -> bool:
    """Whether a band differs from rubber as another does, and is not far weaker."""
    cosine = float(band.contrast @ seed.contrast)
    cosine /= float(np.linalg.norm(band.contrast) * np.linalg.norm(seed.contrast)) + 1e-9
    return cosine > 0.6 and band.strength > 0.2 * seed.strength


def _value(band: Band) -> float:
    return math.sqrt(band.strength) - 1.0


def _chain_of(
    bands: list[Band],
    profiles: Profiles,
    reach_px: tuple[float, float],
    *,
    n_layers: int | None,
    seen: float,
) -> tuple[list[Band], float]:
    """Best chain of bands as neighbouring shims, and its score.

    `reach_px` is the least and the most distance of neighbours.
    """
    if n_layers == 2:
        top = max(bands, key=_value, default=None)
        return ([], 0.0) if top is None else ([top], _value(top))
    between = _between(bands, profiles)
    ends = _Ends(profiles=profiles, between=between, bands=bands, seen=seen)
    score, back = _scored_chains(ends, reach_px)
    lost = {pair: ends.beyond(pair, upper=False) for pair in {key[1:] for key in score}}
    fitting = {
        (n, i, j): reached - lost[i, j]
        for (n, i, j), reached in score.items()
        if n_layers is None or n == n_layers - 1
    }
    if not fitting:
        return [], 0.0
    end = max(fitting, key=lambda k: fitting[k])
    return _walk_back(bands, back, end), fitting[end]


def _scored_chains(
    ends: "_Ends", reach_px: tuple[float, float]
) -> tuple[dict[_Chain, float], dict[_Chain, int]]:
    """Dynamic programme: chains of n bands that end with the pair (i, j)."""
    bands = ends.bands
    score: dict[_Chain, float] = {}
    back: dict[_Chain, int] = {}
    by_last: dict[int, list[_Chain]] = {}
    pairs = [
        (i, j)
        for j in range(len(bands))
        for i in range(j)
        if reach_px[0] < bands[j].level_px - bands[i].level_px < reach_px[1]
    ]
    for i, j in pairs:
        start = _value(bands[i]) + _value(bands[j])
        score[2, i, j] = start - ends.beyond((i, j), upper=True)
        counts = {2}
        for n, h, k in by_last.get(i, ()):
            cost = _mismatch(bands, ends.between, (h, k, j))
            reached = score[n, h, k] + _value(bands[j]) - cost
            if reached > score.get((n + 1, i, j), -math.inf):
                score[n + 1, i, j], back[n + 1, i, j] = reached, h
                counts.add(n + 1)
        by_last.setdefault(j, []).extend((n, i, j) for n in counts)
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
            start = (upper.level_px + upper.thickness_px / 2 - first) / step
            stop = (lower.level_px - lower.thickness_px / 2 - first) / step
            # The blurred sides stay out; in thin rubber they leave the middle half.
            margin = min(upper.thickness_px / (2 * step) + 1, (stop - start) / 4)
            thick = (upper.thickness_px + lower.thickness_px) / (2 * step)
            if stop - start >= max(2, LEAST_GAP * thick):
                rows = slice(math.ceil(start + margin), math.floor(stop - margin) + 1)
                found[i, j] = profiles.values[rows].mean(axis=0)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ends:
    """What is needed to judge whether there is rubber beyond an end shim."""

    profiles: Profiles
    between: dict[tuple[int, int], Points]
    bands: list[Band]
    seen: float

    def beyond(self, pair: tuple[int, int], *, upper: bool) -> float:
        """Cost of an end shim that is none: weak, or no rubber beyond it (a strip of plate)."""
        if pair not in self.between:
            return math.inf
        first, last = self.bands[pair[0]], self.bands[pair[1]]
        pitch = last.level_px - first.level_px
        end, inner, sign = (first, last, -1.0) if upper else (last, first, 1.0)
        weak = min(math.log(end.strength / inner.strength), 0.0)
        reach = sorted(
            (end.level_px + sign * (end.thickness_px / 2 + 0.08 * pitch),
             end.level_px + sign * 0.5 * pitch)
        )  # fmt: skip
        levels = self.profiles.levels_px
        rows = (levels > reach[0]) & (levels < reach[1])
        if not rows.any():
            return math.inf
        beyond = self.profiles.values[rows].mean(axis=0)
        plate = unlike(beyond, self.between[pair], share=self.seen)
        return 1.5 * plate**2 + 1.5 * (weak / WEAKER) ** 2


def unlike(some: Points, other: Points, *, share: float = 0.5) -> float:
    """How unlike two means per block (B, 3) are; 1 is the most that passes.

    The given share of the blocks is at most so unlike.
    """
    apart = np.sqrt((((some - other) / LIKENESS) ** 2).sum(axis=1))
    known = np.sort(apart[np.isfinite(apart)])
    return float(known[round(share * (len(known) - 1))]) if len(known) else 2.0


def _mismatch(
    bands: list[Band], between: dict[tuple[int, int], Points], chain: tuple[int, int, int]
) -> float:
    h, i, j = chain
    upper, lower = (bands[b].level_px - bands[a].level_px for a, b in ((h, i), (i, j)))
    ratio = abs(math.log(lower / upper))
    if ratio > math.log(PITCH_RATIO) or (h, i) not in between or (i, j) not in between:
        return math.inf
    apart = unlike(between[h, i], between[i, j])
    return 1.5 * (ratio / 0.2) ** 2 + 1.5 * apart**2
