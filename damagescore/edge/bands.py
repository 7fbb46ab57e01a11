"""Thin bands across straightened profiles: what may be a shim."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.straighten import Profiles
from damagescore.side_by_side import side_by_side

Points = NDArray[np.float64]

SHIM_MM = (0.2, 1.3)
FLANK_MM = 0.45
MOSTLY_SHOWN, PARTLY_SHOWN = (0.5, 0.75), (0.3, 0.4)
"""Shares of the blocks that have to show a band: half of them and, more weakly, three
quarters; or a third, where light makes shims and rubber alike on the rest."""

LEAST_KNOWN = 0.05
"""Share of the blocks below which what they show is no layer: what a scale card leaves free
at the photo's side."""

GAP_MM = 0.12
"""Left out between band and flank: the blurred edge itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A band that differs from what lies on both sides of it.

    Parameters
    ----------
    level_px, thickness_px : float
        Middle and thickness in the flow's level coordinate.
    contrast : ndarray, shape (3,)
        Inside minus outside in log luma and two log colour ratios, each over
        its noise in this photo.
    strength : float
        Length of the contrast less the difference of the two flanks.
    """

    level_px: float
    thickness_px: float
    contrast: Points
    strength: float


def known_quantile(values: NDArray[np.floating], q: float) -> Points:
    """Quantile over axis 1 of what is not NaN; NaN where nothing is known."""
    return known_quantiles(values, (q,))[0]


def known_quantiles(values: NDArray[np.floating], qs: Sequence[float]) -> list[Points]:
    """Some quantiles over axis 1 of what is not NaN; NaN where nothing is known."""
    count = np.isfinite(values).sum(axis=1, keepdims=True)
    # NaN sorts last; numpy sorts rows that lie together many times as fast.
    ordered = np.sort(np.ascontiguousarray(np.moveaxis(values, 1, -1)), axis=-1)
    ordered = np.moveaxis(ordered, -1, 1)
    found = []
    for q in qs:
        at = np.clip(np.round((count - 1) * q), 0, None).astype(np.intp)
        picked = np.take_along_axis(ordered, at, axis=1)
        picked = np.where(count > 0, picked, np.nan).squeeze(1)
        found.append(np.asarray(picked, dtype=np.float64))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Boxes:
    """Running sums from which means over boxes of rows follow, whatever their size.

    `total` (V + 1, ...) of what is known, `unknown` (V + 1, ...) the count of NaN.
    """

    total: Points
    unknown: NDArray[np.int32]

    @classmethod
    def of(cls, values: NDArray[np.floating]) -> "Boxes":
        """Sums down the rows of values, shape (V, ...)."""
        known = np.isfinite(values)
        total = np.zeros((len(values) + 1, *values.shape[1:]))
        unknown = np.zeros(total.shape, np.int32)
        np.cumsum(np.where(known, values, 0.0), axis=0, out=total[1:])
        np.cumsum(~known, axis=0, out=unknown[1:])
        return cls(total=total, unknown=unknown)

    def means(self, first: float, last: float) -> Points:
        """Mean over rows i+first .. i+last of each row i; NaN where any is unknown.

        Parameters
        ----------
        first, last : float
            Row offsets, rounded; the box has at least one row.
        """
        low = round(first)
        high = max(round(last), low) + 1
        rows = len(self.total) - 1
        means = np.full((rows, *self.total.shape[1:]), np.nan)
        start, stop = max(0, -low), min(rows, rows - high + 1)
        if stop > start:
            upper, lower = slice(start + high, stop + high), slice(start + low, stop + low)
            known = self.unknown[upper] == self.unknown[lower]
            mean = (self.total[upper] - self.total[lower]) / (high - low)
            means[start:stop] = np.where(known, mean, np.nan)
        return means


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrasts:
    """How each row differs from its flanks as the middle of a band, by thickness tried.

    `thickness_px` (T,) is what was tried, `contrast` (T, V, 3) as in `Band`, at `levels_px`
    (V,); bands nearer to each other than `apart` rows are one.
    """

    levels_px: Points
    thickness_px: Points
    contrast: Points
    apart: int

    def bands(self, *, like: Points | None = None) -> list[Band]:
        """Bands of a shim's thickness, the strongest first.

        `like` (3,) is a direction of contrast: then each row is as strong as it differs
        that way, so that a step in colour beside a shim does not stand for the shim.
        """
        if like is None:
            strength = np.sqrt((self.contrast**2).sum(axis=2))
        else:
            strength = self.contrast @ (like / (np.linalg.norm(like) + 1e-12))
        strength = np.nan_to_num(strength)
        best = np.argmax(strength, axis=0)
        rows = np.arange(strength.shape[1])
        return [
            Band(
                level_px=float(self.levels_px[i]),
                thickness_px=float(self.thickness_px[best[i]]),
                contrast=self.contrast[best[i], i],
                strength=float(strength[best[i], i]),
            )
            for i in _peaks(strength[best, rows], self.apart)
        ]


def band_contrasts(
    profiles: Profiles, *, mm_per_px: float, shown: tuple[float, float] = MOSTLY_SHOWN
) -> Contrasts:
    """Contrast of bands of a shim's thickness that most blocks agree upon.

    Parameters
    ----------
    profiles : Profiles
    mm_per_px : float
        Millimetres per photo pixel across the layers.
    shown : tuple of float
        Two shares of the blocks: the contrast is the mean of what each shows at least.
    """
    rows_per_mm = 1.0 / (profiles.step_px * mm_per_px)
    tried = np.geomspace(*SHIM_MM, 7) * rows_per_mm
    noise = profile_noise(profiles)
    boxes = Boxes.of(np.asarray(profiles.values / noise, dtype=np.float32))
    found = side_by_side(lambda t: _contrast(boxes, t, rows_per_mm, shown), tried)
    return Contrasts(
        levels_px=profiles.levels_px,
        thickness_px=tried * profiles.step_px,
        contrast=np.stack(found),
        apart=round(0.5 * rows_per_mm),
    )


def profile_noise(profiles: Profiles) -> Points:
    """Typical row-to-row change of each channel over 3 rows, shape (3,)."""
    change = np.abs(profiles.values[3:] - profiles.values[:-3])
    floor = np.array([5e-3, 1.5e-3, 1.5e-3])
    return np.asarray(np.maximum(np.nanmedian(change, axis=(0, 1)), floor), dtype=np.float64)


def _contrast(
    boxes: Boxes, rows: float, rows_per_mm: float, shown: tuple[float, float]
) -> Points:
    half, gap, flank = rows / 2, GAP_MM * rows_per_mm, FLANK_MM * rows_per_mm
    inner = max(half - 0.5 * gap, 0.4)
    inside = boxes.means(-inner, inner)
    above = boxes.means(-half - gap - flank, -half - gap)
    below = boxes.means(half + gap, half + gap + flank)
    upper, lower = inside - above, inside - below
    alike = np.where(
        upper * lower > 0, np.sign(upper) * np.minimum(abs(upper), abs(lower)), 0.0
    )
    alike[~np.isfinite(upper * lower)] = np.nan
    first, second = shown
    low = known_quantiles(alike, (1 - first, 1 - second, first, second))
    bright = np.where(np.minimum(low[0], low[1]) > 0, (low[0] + low[1]) / 2, 0.0)
    dark = np.where(np.maximum(low[2], low[3]) < 0, (low[2] + low[3]) / 2, 0.0)
    contrast = np.where(bright > -dark, bright, dark)
    contrast[np.isfinite(alike[..., 0]).mean(axis=1) < LEAST_KNOWN] = 0.0
    return contrast


def _peaks(score: Points, apart: int, *, most: int = 60) -> list[int]:
    left = score.copy()
    found: list[int] = []
    while len(found) < most:
        i = int(np.argmax(left))
        if left[i] <= 1.5:
            break
        found.append(i)
        left[max(i - apart, 0) : i + apart + 1] = 0.0
    return found
