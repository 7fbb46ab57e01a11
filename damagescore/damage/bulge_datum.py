"""The datum of bulges: the line through the outline where shims reach it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.quantity import rectangular
from damagescore.ranks import median_slope

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

FLANK_MM = 0.05
"""Lean of a shim's rows, end to end, beyond which a bulge's flank is among them."""

FOOT_ROWS, FOOT_SLOPE = 4, 0.25
"""A flank ends where it falls by less than a quarter of a pixel a row over four rows."""

APART_MM = 0.05
"""How far the ends of sound shims stand apart: 0.02 to 0.06 mm on the development photos."""

FOREIGN_MM = 4 * APART_MM
"""Distance from the robust line beyond which an end is not taken for a shim's."""

LOST_MM = 0.03
"""Scatter of a shim's rows beyond which its outline counts as partly lost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Datum:
    """Frame of the datum: origin, unit vectors along and out, coefficients.

    It is the line through the shims' ends as they are: that these scatter about it makes it
    no less sure, but where each of them was located does. `covariance` (N, N) is that of
    the coefficients from there, `robust` the coefficients without ends that stand apart;
    `lost_mm` is what shims that are partly lost in the background may shift it by.
    """

    origin: Points
    along: Points
    out: Points
    terms: Points
    robust: Points
    covariance: Points
    spread_mm: float
    lost_mm: float

    def frame(self, mm: Points) -> tuple[Points, Points]:
        """Coordinates along and out of the datum of surface points (N, 2)."""
        moved = mm - self.origin
        t = moved @ self.along
        return t, moved @ self.out - np.polyval(self.terms, t)

    def u_at(self, t: float) -> float:
        """Standard uncertainty of the datum at t (GUM 5.2.2 for a fitted polynomial).

        Where the datum without the ends that stand apart is another, those ends may have
        been located wrongly.
        """
        powers = np.vander([t], len(self.terms))[0]
        located = math.sqrt(max(float(powers @ self.covariance @ powers), 0.0))
        apart = float(np.polyval(self.terms, t) - np.polyval(self.robust, t))
        return math.hypot(located, apart)


def fit_datum(surface: Points, shims: list[Mask], inside: Points, *, level: Points) -> Datum:
    """Fit the datum through the shims' ends.

    Parameters
    ----------
    surface : ndarray, shape (N, 2)
        Outline on the surface, mm.
    shims : list of ndarray of bool, shape (N,)
        Outline points on each shim.
    inside : ndarray, shape (2,)
        A point inside the part, mm: tells outwards from inwards.
    level : ndarray, shape (N,)
        Standard uncertainty, mm, of each point's place from the colours taken for part and
        background; neighbours err alike.
    """
    middles = np.array([surface[s].mean(axis=0) for s in shims])
    along = middles[-1] - middles[0]
    along /= np.hypot(*along)
    out = np.array([-along[1], along[0]])
    origin = middles.mean(axis=0)
    if (inside - origin) @ out > 0:
        out = -out
    frame = (surface - origin) @ np.column_stack([along, out])
    px_mm = float(np.median(np.hypot(*np.diff(surface, axis=0).T)))
    ends = [_end_of(frame, s, px_mm) for s in shims]
    levels = np.array([float(np.median(level[s])) for s in shims])
    line = _line_through(np.array(ends), levels)
    return Datum(
        origin=origin, along=along, out=out, terms=line.terms, robust=line.robust,
        covariance=line.covariance, spread_mm=line.spread_mm,
        lost_mm=_lost_mm(surface, shims, out),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """Coefficients with their covariance, and without ends that stand apart; the spread."""

    terms: Points
    covariance: Points
    robust: Points
    spread_mm: float


def _line_through(ends: Points, level: Points) -> _Line:
    """Line (or parabola) through the shims' ends, and how sure it is.

    `ends` (K, 3) are place along, distance out and its uncertainty.

    Each shim is one independent point: neighbouring rows of one shim share its nicks. Ends
    count by how well they are known, but shims stand `APART_MM` apart in any case; what
    stands far from all others does not count. The levels of half the stack err alike, for
    its ends mostly lie before the same background.
    """
    x, y, u = ends.T
    each = np.hypot(u, level)
    degree, (robust, spread) = 1, _robust_fit(x, y, each, 1)
    if len(x) >= 5:
        bent, tighter = _robust_fit(x, y, each, 2)
        reach = (x.max() - x.min()) / 2
        if tighter < 0.4 * spread and abs(bent[0]) * reach**2 > 6 * tighter:
            degree, robust, spread = 2, bent, tighter
    weight = _kept(y - np.polyval(robust, x), spread) / (APART_MM**2 + each**2)
    design = np.vander(x, degree + 1)
    solve = np.linalg.pinv(design.T @ (design * weight[:, None])) @ (design.T * weight)
    covariance = solve @ np.diag(u**2) @ solve.T
    for half in (x < np.median(x), x >= np.median(x)):
        shared = solve @ (level * half)
        covariance += np.outer(shared, shared)
    return _Line(terms=solve @ y, covariance=covariance, robust=robust, spread_mm=spread)


def _kept(off: Points, spread_mm: float) -> Points:
    """1 for ends that count, 0 for those far from all others; never fewer than three count.

    Shims scatter, and the line goes through them as they are; but an end that was located on
    the background would turn the whole line.
    """
    near = np.abs(off) <= max(FOREIGN_MM, 4 * spread_mm)
    return np.asarray(near if near.sum() >= 3 else np.ones(len(off), bool), np.float64)


def _end_of(frame: Points, shim: Mask, px_mm: float) -> tuple[float, float, float]:
    """Place along, distance out and its uncertainty of one shim's end, mm."""
    rows = np.flatnonzero(shim)
    t, out = frame[rows].T
    place = float(np.median(t))
    if abs(_lean(t, out)) * float(np.ptp(t)) > max(FLANK_MM, 1.2 * px_mm):
        rows = _to_the_foot(frame[:, 1], rows, px_mm)
    stand, u = _stand(frame[rows, 0], frame[rows, 1], px_mm)
    return place, stand, math.hypot(u, _u_place(frame[:, 1], np.flatnonzero(shim)))


def _u_place(out: Points, rows: NDArray[np.intp]) -> float:
    """Uncertainty of an end from where along the outline it is taken to lie, mm.

    `rows` are the middle half of the shim. Its bonds are known to a quarter of the shim,
    so that the outline there may be meant just as well.
    """
    side = max(len(rows) // 2, 1)
    near = out[max(rows[0] - side, 0) : rows[-1] + side + 1]
    low, high = np.quantile(near, [0.1, 0.9])
    return rectangular(float(high - low) / 2)


def _to_the_foot(out: Points, rows: NDArray[np.intp], px_mm: float) -> NDArray[np.intp]:
    """Rows of a shim that leans, and those downhill to where the flank ends.

    Seen from above or below, the layers turn up or down beside the outline: where a
    bulge hides a shim's end, its rows may lie on the bulge's flank.
    """
    down = 1 if out[rows[-1]] < out[rows[0]] else -1
    at = int(rows[-1] if down > 0 else rows[0])
    last = at + down * 2 * len(rows)
    limit = len(out) - 1 - FOOT_ROWS
    foot = [at]
    while FOOT_ROWS <= at <= limit and at != last:
        if out[at] - out[at + down * FOOT_ROWS] < FOOT_ROWS * FOOT_SLOPE * px_mm:
            break
        at += down
        foot.append(at)
    beyond = [at + down * k for k in range(1, FOOT_ROWS + 1)]
    inside = [k for k in (*foot, *beyond) if 0 <= k < len(out)]
    return np.unique(np.concatenate([rows, np.array(inside, dtype=np.intp)]))


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
    """Slope of a shim's rows; rows may share a place."""
    return float(median_slope(t, values, least=1e-9))


def _lost_mm(surface: Points, shims: list[Mask], out: Points) -> float:
    """Scatter of the partly lost shims times their share of all shims."""
    spreads = [float(np.ptp(np.quantile(surface[s] @ out, [0.1, 0.9]))) for s in shims]
    lost = [x for x in spreads if x > 4 * LOST_MM]
    return sum(lost) / len(spreads)


def _u_median(values: Points) -> float:
    """Standard uncertainty of a shim's median; about 4 rows share one nick."""
    spread = 1.4826 * float(np.median(np.abs(values - np.median(values))))
    return 1.25 * spread / math.sqrt(max(len(values) / 4, 1.0))


def _robust_fit(x: Points, y: Points, u: Points, degree: int) -> tuple[Points, float]:
    """Polynomial by Cauchy-weighted least squares and the spread about it.

    One bent shim does not steer it.
    """
    base = 1.0 / (0.02**2 + u**2)
    base /= base.max()
    terms = np.polyfit(x, y, degree, w=np.sqrt(base))
    weight = base
    for _ in range(10):
        off = y - np.polyval(terms, x)
        scale = max(1.4826 * float(np.median(np.abs(off))), 0.01)
        weight = base / (1 + (off / (2.5 * scale)) ** 2)
        terms = np.polyfit(x, y, degree, w=np.sqrt(weight))
    off = y - np.polyval(terms, x)
    free = max(float(weight.sum()) - degree - 1, 0.5)
    return terms, max(math.sqrt(float((weight * off**2).sum()) / free), 0.005)
