"""The datum of bulges: the line through the outline where shims reach it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.quantity import rectangular

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

LEVEL_BIAS_PX = 0.3
"""Half width of what the half-way level may shift a shim's end by."""

FLANK_MM = 0.05
"""Lean of a shim's rows, end to end, beyond which a bulge's flank is among them."""

LOST_MM = 0.03
"""Scatter of a shim's rows beyond which its outline counts as partly lost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Datum:
    """Frame of the datum: origin, unit vectors along and out, coefficients.

    `shims` is the number of shims that carry it, less those that hardly count;
    `lost_mm` what shims that are partly lost in the background may shift it by.
    """

    origin: Points
    along: Points
    out: Points
    terms: Points
    spread_mm: float
    shims: float
    lost_mm: float

    def frame(self, mm: Points) -> tuple[Points, Points]:
        """Coordinates along and out of the datum of surface points (N, 2)."""
        moved = mm - self.origin
        t = moved @ self.along
        return t, moved @ self.out - np.polyval(self.terms, t)

    def u_at(self, t: float, shim_t: Points) -> float:
        """Standard uncertainty of the fitted line at t (straight-line regression)."""
        middle = shim_t.mean()
        spread = float(((shim_t - middle) ** 2).sum()) + 1e-9
        lever = (t - middle) ** 2 / spread * len(shim_t) / self.shims
        return self.spread_mm * math.sqrt(1 / self.shims + lever)


def fit_datum(surface: Points, shims: list[Mask], inside: Points) -> Datum:
    """Fit the datum through the shims' ends.

    Parameters
    ----------
    surface : ndarray, shape (N, 2)
        Outline on the surface, mm.
    shims : list of ndarray of bool, shape (N,)
        Outline points on each shim.
    inside : ndarray, shape (2,)
        A point inside the part, mm: tells outwards from inwards.
    """
    middles = np.array([surface[s].mean(axis=0) for s in shims])
    along = middles[-1] - middles[0]
    along /= np.hypot(*along)
    out = np.array([-along[1], along[0]])
    origin = middles.mean(axis=0)
    if (inside - origin) @ out > 0:
        out = -out
    points = np.vstack([surface[s] for s in shims]) - origin
    t, h = points @ along, points @ out
    terms, spread, count = _robust_line(
        t,
        h,
        np.concatenate([np.full(s.sum(), i) for i, s in enumerate(shims)]),
        px_mm=float(np.median(np.hypot(*np.diff(surface, axis=0).T))),
    )
    return Datum(
        origin=origin,
        along=along,
        out=out,
        terms=terms,
        spread_mm=spread,
        shims=count,
        lost_mm=_lost_mm(surface, shims, out),
    )


def _robust_line(
    t: Points, h: Points, shim: Points, *, px_mm: float
) -> tuple[Points, float, float]:
    """Line (or parabola) through the shims and the spread between shims.

    Each shim is one independent point (its median): neighbouring rows of one
    shim share its nicks. Cauchy weights keep one bent shim from steering.
    """
    names = np.unique(shim)
    x = np.array([np.median(t[shim == k]) for k in names])
    ends = [_stand(t[shim == k], h[shim == k], px_mm) for k in names]
    y, u = np.array(ends).T
    u = np.hypot(u, rectangular(LEVEL_BIAS_PX) * px_mm)
    sure = 1.0 / (0.02**2 + u**2)
    terms, spread, count = _weighted(x, y, sure, 1)
    # Few shims agree by chance: no spread may be less than what each end is known to.
    least = math.sqrt(float((sure * u**2).sum() / sure.sum()))
    if len(x) >= 5:
        bent, tighter, left = _weighted(x, y, sure, 2)
        reach = (x.max() - x.min()) / 2
        if tighter < 0.4 * spread and abs(bent[0]) * reach**2 > 6 * tighter:
            return bent, max(tighter, least), left
    return terms, max(spread, least), count


def _stand(t: Points, values: Points, px_mm: float) -> tuple[float, float]:
    """How far a shim's end stands out: the median of its rows; and its uncertainty.

    Rows that lean belong in part to the flank of a bulged layer beside the shim:
    then the bottom of the notch, the lower quarter, is the shim. Where rows disagree
    otherwise, the outline was lost between a shim and a background alike, always
    inwards: then the upper fifth is nearer the truth.
    """
    lean = _lean(t, values) * float(np.ptp(t))
    low, quarter, middle, most = np.quantile(values, [0.05, 0.25, 0.5, 0.8])
    if abs(lean) > max(FLANK_MM, 1.2 * px_mm):
        return float(quarter), rectangular(float(middle - low) / 2)
    u = math.hypot(_u_median(values), rectangular(abs(lean) / 4))
    spread = 1.4826 * float(np.median(np.abs(values - middle)))
    if spread < max(LOST_MM, px_mm):
        return float(middle), u
    return float(most), math.hypot(u, rectangular(float(most - middle)))


def _lean(t: Points, values: Points) -> float:
    """Slope of a shim's rows: the median of the slopes between pairs."""
    i, j = np.triu_indices(len(t), 1)
    apart = t[j] - t[i]
    known = np.abs(apart) > 1e-9
    return (
        float(np.median((values[j] - values[i])[known] / apart[known])) if known.any() else 0.0
    )


def _lost_mm(surface: Points, shims: list[Mask], out: Points) -> float:
    """Scatter of the partly lost shims times their share of all shims."""
    spreads = [float(np.ptp(np.quantile(surface[s] @ out, [0.1, 0.9]))) for s in shims]
    lost = [x for x in spreads if x > 4 * LOST_MM]
    return sum(lost) / len(spreads)


def _u_median(values: Points) -> float:
    """Standard uncertainty of a shim's median; about 4 rows share one nick."""
    spread = 1.4826 * float(np.median(np.abs(values - np.median(values))))
    return 1.25 * spread / math.sqrt(max(len(values) / 4, 1.0))


def _weighted(x: Points, y: Points, sure: Points, degree: int) -> tuple[Points, float, float]:
    """Polynomial by Cauchy-weighted least squares, the spread and the count behind it."""
    base = sure / sure.max()
    terms = np.polyfit(x, y, degree, w=np.sqrt(base))
    weight = base
    for _ in range(10):
        off = y - np.polyval(terms, x)
        scale = max(1.4826 * float(np.median(np.abs(off))), 0.01)
        weight = base / (1 + (off / (2.5 * scale)) ** 2)
        terms = np.polyfit(x, y, degree, w=np.sqrt(weight))
    off = y - np.polyval(terms, x)
    free = max(float(weight.sum()) - degree - 1, 0.5)
    spread = math.sqrt(float((weight * off**2).sum()) / free)
    count = float(weight.sum() ** 2 / (weight**2).sum())
    return terms, max(spread, 0.005), count
