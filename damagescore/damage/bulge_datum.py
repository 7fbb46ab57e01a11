"""The datum of bulges: the line through the outline where shims reach it."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.bulge_line import line_through
from damagescore.damage.bulge_shim import ShimEnd

Points = NDArray[np.float64]

STRAIGHT_MM, STRAIGHT_PX = 0.02, 0.5
"""How far the rows of a shim's end scatter where it is seen well."""

LEAST_ROWS, LEAST_OF_SHIM = 2, 0.2
"""Rows, and share of a shim, that must be known to be its end."""

MOST_MOVED = 4.0
"""Uncertainties of its place by which a shim may lie from it."""

ALIKE_ROWS = 4
"""Rows that share one nick."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Datum:
    """Frame of the datum: origin, unit vectors along and out, coefficients.

    It is the line through the shims' ends as they are (`bulge_line`). `covariance` (N, N) is
    that of the coefficients, `spread_mm` how far the ends lie from it.
    """

    origin: Points
    along: Points
    out: Points
    terms: Points
    covariance: Points
    spread_mm: float

    def frame(self, mm: Points) -> tuple[Points, Points]:
        """Coordinates along and out of the datum of surface points (N, 2)."""
        moved = mm - self.origin
        t = moved @ self.along
        return t, moved @ self.out - np.polyval(self.terms, t)

    def u_at(self, t: float) -> float:
        """Standard uncertainty of the datum at t (GUM 5.2.2 for a fitted polynomial)."""
        powers = np.vander([t], len(self.terms))[0]
        return math.sqrt(max(float(powers @ self.covariance @ powers), 0.0))


def fit_datum(
    surface: Points,
    reach: Points,
    inside: Points,
    *,
    level: Points,
    u_place: Points,
    together: Callable[[Points], list[ShimEnd | None]] | None = None,
) -> Datum:
    """Fit the datum through the shims' ends.

    Parameters
    ----------
    surface : ndarray, shape (N, 2)
        Outline on the surface, mm, in order along the stack.
    reach : ndarray, shape (K, 2, 2)
        Where both bonds of each shim reach the outline, mm.
    inside : ndarray, shape (2,)
        A point inside the part, mm: tells outwards from inwards.
    level : ndarray, shape (N,)
        Standard uncertainty, mm, of each point's place from the colours taken for part and
        background; neighbours err alike.
    u_place : ndarray, shape (K,)
        Standard uncertainty of `reach` along the outline, mm.
    together : callable, optional
        Takes `reach` as the outline tells it better and gives each shim's end by all its
        rows together.
    """
    middles = reach.mean(axis=1)
    along = middles[-1] - middles[0]
    along /= np.hypot(*along)
    out = np.array([-along[1], along[0]])
    origin = middles.mean(axis=0)
    if (inside - origin) @ out > 0:
        out = -out
    axes = np.column_stack([along, out])
    frame = (surface - origin) @ axes
    order = np.argsort(frame[:, 0])
    frame, level = frame[order], level[order]
    spans = np.sort((reach - origin) @ along, axis=1)
    ends = [_end_of(frame, s, float(p)) for s, p in zip(spans, u_place, strict=True)]
    x, y, u, u_move = np.array(ends).T
    if together is not None:
        moved = reach + ((x - spans.mean(axis=1))[:, None] * along)[:, None]
        for k, second in enumerate(together(moved)):
            if second is not None:
                y[k], u[k] = _both(y[k], u[k], second, float((second.at_mm - origin) @ out))
    u = np.hypot(u, u_move)
    levels = np.interp(x, frame[:, 0], level)
    line = line_through(x, y, u, levels)
    return Datum(
        origin=origin, along=along, out=out, terms=line.terms,
        covariance=line.covariance, spread_mm=line.spread_mm,
    )  # fmt: skip


def _both(stand: float, u: float, together: ShimEnd, at: float) -> tuple[float, float]:
    """A shim's end by its single rows and by all of them together, each by how sure it is.

    Where they differ by more than they may, either may be wrong: both are as much less sure
    as makes them agree (after Paule and Mandel, see `bulge_line`).
    """
    if math.isinf(u):
        return at, together.u_mm
    rows, joint = u**2 + together.u_row_mm**2, together.u_mm**2
    more = max(((at - stand) ** 2 - rows - joint) / 2, 0.0)
    rows, joint = rows + more, joint + more
    share = rows / (rows + joint)
    return stand + share * (at - stand), math.sqrt(share * joint)


def _end_of(frame: Points, span: Points, u_place: float) -> tuple[float, float, float, float]:
    """Place along and distance out of one shim's end, mm; u from its rows and from its place.

    Where along the outline it lies is known to `u_place` only, and a shim's end is straight
    while the flank of a bulge beside it is not: the end is the mean over all places of the
    median of the rows there, by how likely the place is and how straight the rows are.
    Infinitely uncertain where too few rows are known.
    """
    t, out = frame.T
    px_mm = float(np.median(np.diff(t)))
    quarter = float(span[1] - span[0]) / 4
    count = max(2 * quarter / px_mm, 1.0)
    straight = math.hypot(STRAIGHT_MM, STRAIGHT_PX * px_mm)
    moves = np.arange(-MOST_MOVED * u_place, MOST_MOVED * u_place + px_mm / 2, px_mm)
    found = []
    for move in moves:
        low, high = np.searchsorted(t, [span[0] + quarter + move, span[1] - quarter + move])
        if high - low < max(LEAST_ROWS, LEAST_OF_SHIM * count):
            continue
        rows = out[low:high]
        spread = float(rows.std())
        # Both with the tails of Student's distribution: three degrees of freedom.
        likely = (1 + (move / u_place) ** 2) ** -2.0
        likely *= (1 + (spread / straight) ** 2) ** (-ALIKE_ROWS / 2)
        u = 1.25 * spread / math.sqrt(max(len(rows) / ALIKE_ROWS, 1.0))
        found.append((likely, move, float(np.median(rows)), u))
    middle = float(span.mean())
    if not found:
        return middle, 0.0, math.inf, 0.0
    weight, move, stand, u = np.array(found).T
    weight = weight / weight.sum()
    mean = float(weight @ stand)
    u_rows, u_move = (math.sqrt(weight @ x**2) for x in (u, stand - mean))
    return middle + float(weight @ move), mean, u_rows, u_move
