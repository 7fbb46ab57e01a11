"""Edge response: how sharply the photo draws a straight black-white side.

The side is sampled at a slant, so that pixels at many fractions of a pixel from
the border give the response in quarter-pixel steps; its derivative is the line
spread, and the transform of that is the modulation transfer (slanted-edge method
as in ISO 12233). For a gaussian blur of s px: 10 to 90 % rise 2.563103 s, MTF50 at
0.187391 / s cycles per px.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.ranks import median

Points = NDArray[np.float64]

STEPS_PER_PX = 4

EVENLY = np.linspace(0.0, 1.0, 200)
"""Shares of a response's width at which it is averaged."""

MTF50_TIMES_SIGMA = 0.187391
"""sqrt(ln 2 / 2) / pi: exp(-2 pi^2 s^2 f^2) = 1/2."""

RISE_PER_SIGMA = 2.563103
"""2 * 1.2815516, the normal quantile of 0.9."""

HALF_CONTRAST_PER_SIGMA = 1.348980
"""Width of a line that keeps half its contrast: erf(w / (2 sqrt(2) s)) = 1/2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeResponse:
    """Response across a side.

    Parameters
    ----------
    distance_px : ndarray, shape (K,)
        From the border, rising towards the bright side; steps of 1/4 px.
    level : ndarray, shape (K,)
        Mean grey level.
    contrast : float
        Bright minus dark level.
    """

    distance_px: Points
    level: Points
    contrast: float

    @property
    def rise_px(self) -> float:
        """Distance over which the level goes from 10 % to 90 %, px."""
        low, high = _ends(self.level)
        share = np.maximum.accumulate((self.level - low) / (high - low))
        start, end = (self._crossing(share, s) for s in (0.1, 0.9))
        return float(end - start)

    def _crossing(self, share: Points, wanted: float) -> float:
        i = int(np.clip(np.searchsorted(share, wanted), 1, len(share) - 1))
        run = share[i] - share[i - 1]
        part = (wanted - share[i - 1]) / run if run > 0 else 0.5
        return float(self.distance_px[i - 1] + part / STEPS_PER_PX)

    def mtf(self, cycles_per_px: Points) -> Points:
        """Modulation transfer at the given frequencies; 1 at 0."""
        spread = np.diff(self.level)
        x = (self.distance_px[1:] + self.distance_px[:-1]) / 2
        centre = float(np.sum(x * np.abs(spread)) / np.sum(np.abs(spread)))
        half = float(np.max(np.abs(x - centre)))
        # Flat over the response, tapered at the far ends where only noise is left.
        outer = np.clip(np.abs(x - centre) / (half + 1 / STEPS_PER_PX) * 2 - 1, 0, 1)
        window = np.cos(np.pi / 2 * outer) ** 2
        weighted = spread * window
        f = np.asarray(cycles_per_px, dtype=np.float64)
        phase = 2 * np.pi * f[:, None] * x[None, :]
        waves = np.hypot(np.cos(phase) @ weighted, np.sin(phase) @ weighted)
        found = waves / abs(weighted.sum())
        # Binning and differencing are boxes of one step each (sinc).
        return np.asarray(found / np.sinc(f / STEPS_PER_PX) ** 2)

    @property
    def mtf50_per_px(self) -> float:
        """Lowest frequency at which the modulation is down to a half, cycles/px."""
        f = np.linspace(0.002, 1.0, 500)
        # Most sides are down to a half early: a tenth of the frequencies at a time.
        value = np.empty(0)
        for part in np.array_split(f, 10):
            value = np.concatenate([value, self.mtf(part)])
            if (value < 0.5).any():
                break
        else:
            return float(f[-1])
        i = int(np.argmax(value < 0.5))
        if i == 0:
            return float(f[0])
        part = (value[i - 1] - 0.5) / (value[i - 1] - value[i])
        return float(f[i - 1] + part * (f[i] - f[i - 1]))

    @property
    def finest_width_px(self) -> float:
        """Width of a black line that keeps half its contrast, px."""
        return HALF_CONTRAST_PER_SIGMA * MTF50_TIMES_SIGMA / self.mtf50_per_px


def side_response(
    grey: NDArray[np.float32], ends_px: Points, *, half_px: float, trim: float = 0.12
) -> EdgeResponse | None:
    """Edge response across one straight side.

    Parameters
    ----------
    grey : ndarray, shape (H, W)
    ends_px : ndarray, shape (2, 2)
        About the two ends of the side, within 2 px.
    half_px : float
        How far to look to both sides.
    trim : float
        Share of the length left out at both ends.

    Returns
    -------
    EdgeResponse or None
        None where the side leaves the photo, shows less than 12 grey levels, or where
        its pieces show no common border.
    """
    start, end = np.asarray(ends_px, dtype=np.float64)
    length = float(np.hypot(*(end - start)))
    if length < 8:
        return None
    x, y, value = _pixels_near(grey, start, end, reach=half_px + 3)
    if len(value) < 40:
        return None
    along, away = _in_line_frame(x, y, start, end, length)
    kept = (along > trim * length) & (along < (1 - trim) * length)
    along, away, value = along[kept], away[kept], value[kept]
    bright, dark = (_side_level(away, value, half_px, s) for s in (1, -1))
    if not abs(bright - dark) >= 12:
        return None
    away = away if bright > dark else -away
    away = away - _border_fit(along, away, value, half_px=half_px)
    if np.isnan(away).any():
        return None
    return _binned(away, value, half_px=half_px, contrast=abs(bright - dark))


def _pixels_near(
    grey: NDArray[np.float32], start: Points, end: Points, *, reach: float
) -> tuple[Points, Points, Points]:
    height, width = grey.shape
    low = np.floor(np.minimum(start, end) - reach).astype(int)
    high = np.ceil(np.maximum(start, end) + reach).astype(int) + 1
    x0, y0 = max(int(low[0]), 0), max(int(low[1]), 0)
    x1, y1 = min(int(high[0]), width), min(int(high[1]), height)
    if x1 <= x0 or y1 <= y0:
        return np.empty(0), np.empty(0), np.empty(0)
    y, x = np.mgrid[y0:y1, x0:x1]
    value = grey[y0:y1, x0:x1].ravel().astype(np.float64)
    return x.ravel().astype(np.float64), y.ravel().astype(np.float64), value


def _in_line_frame(
    x: Points, y: Points, start: Points, end: Points, length: float
) -> tuple[Points, Points]:
    ux, uy = (end - start) / length
    dx, dy = x - start[0], y - start[1]
    return dx * ux + dy * uy, dy * ux - dx * uy


def _side_level(away: Points, value: Points, half_px: float, sign: int) -> float:
    far = (sign * away > 0.6 * half_px) & (sign * away < half_px)
    return median(value[far]) if far.any() else float("nan")


def _border_fit(along: Points, away: Points, value: Points, *, half_px: float) -> Points:
    """Border position along the side: a parabola through the middles of 16 pieces."""
    edges = np.linspace(along.min(), along.max() + 1e-6, 17)
    near = np.flatnonzero(np.abs(away) < half_px)
    near = near[np.argsort(away[near], kind="stable")]
    piece = np.digitize(along[near], edges) - 1
    near = near[np.argsort(piece.astype(np.uint8), kind="stable")]
    bounds = np.cumsum(np.bincount(piece, minlength=16))[:-1]
    middles = []
    for k, mine in enumerate(np.split(near, bounds)):
        if len(mine) >= 8:
            middle = (edges[k] + edges[k + 1]) / 2
            middles.append((middle, _border_in(away[mine], value[mine])))
    found = np.array([m for m in middles if np.isfinite(m[1])])
    if len(found) < 4:
        return np.zeros_like(away)
    kept = np.abs(found[:, 1] - np.median(found[:, 1])) < 2.5
    if kept.sum() < 4:  # pieces that disagree this much show no one border
        return np.full_like(away, np.nan)
    degree = 2 if kept.sum() >= 8 else 1
    # About the middle, so that the powers stay of one size.
    middle = (along.min() + along.max()) / 2
    terms = np.polyfit(found[kept, 0] - middle, found[kept, 1], degree)
    return np.asarray(np.polyval(terms, along - middle), dtype=np.float64)


def _border_in(away: Points, value: Points) -> float:
    """Where a step with the same two levels and the same sum would lie; `away` rises."""
    count = max(3, len(away) // 6)
    low, high = median(value[:count]), median(value[-count:])
    if high - low < 6:
        return float("nan")
    share = np.minimum(np.maximum((value - low) / (high - low), -0.2), 1.2)
    places = away[0] + EVENLY * (away[-1] - away[0])
    middle = float(np.interp(places, away, share).sum()) / len(EVENLY)
    return float(away[-1] - middle * (away[-1] - away[0]))


def _binned(
    away: Points, value: Points, *, half_px: float, contrast: float
) -> EdgeResponse | None:
    count = int(2 * half_px * STEPS_PER_PX)
    edges = (np.arange(count + 1) - count / 2) / STEPS_PER_PX
    place = np.digitize(away, edges) - 1
    inside = (place >= 0) & (place < count)
    number = np.bincount(place[inside], minlength=count)
    total = np.bincount(place[inside], weights=value[inside], minlength=count)
    # A side along the pixel rows fills every fourth bin only: it reads a little soft.
    if np.count_nonzero(number) < 0.2 * count:
        return None
    middles = (edges[1:] + edges[:-1]) / 2
    filled = number > 0
    level = np.interp(middles, middles[filled], total[filled] / number[filled])
    return EdgeResponse(distance_px=middles, level=level, contrast=contrast)


def _ends(level: Points) -> tuple[float, float]:
    count = max(2, len(level) // 10)
    return median(level[:count]), median(level[-count:])
