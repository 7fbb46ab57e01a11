"""The outline to a fraction of a pixel: where the part ends in each row."""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from damagescore.edge.outline import NOTHING_SEEN_PX, Outline, Track, Turned
from damagescore.edge.paths import best_path
from damagescore.edge.sampling import sample_part

Points = NDArray[np.float64]
Strip = NDArray[np.float32]

BOX, FAR = 4, 10
"""Pixels compared beside an edge, and beyond those for the slope of the background."""

CLEAR = 4.0
"""Difference of both sides over its noise from which on an edge is one."""

OUTSIDE_COST = 0.8
"""What a clear edge outside the path costs, against that of the path itself."""

MOST_MOVE, MOVE_COST = 4, 0.04
"""Pixels that the outline moves from row to row at most, and the cost of a move squared."""

REACH_MM, AWAY_COST = 2.8, 0.5
"""How far from its line the outline is looked for, and what that distance costs."""

LEAST_NOISE = 0.7
"""Grey levels: the rounding of the file at least."""

MARGIN = 2 + BOX + FAR
"""Pixels beside the looked-for reach that comparisons need."""

STRIDE, LEAST_ROWS = 2, 40
"""Rows from one to the next of a path, and the rows an outline must have."""

SPIKE_ROWS, MOST_SPIKE_PX = 9, 2.5
"""Rows compared with, and how far one row may lie off their median."""

MOST_BLURRED, ALONG_ROWS, STEEP = 0.6, 4.0, 1.2
"""Share of a step that goes on beside it from which on it is blurred, the rows averaged, and
the slope from which on rows cross an outline too slantwise to tell."""

COURSE_ROWS = 2.0
"""Smoothing of the course along which rows are averaged."""

WIDE = 12
"""Pixels either side of the path in which half way is looked for."""

KNOWN, SHARP = 5.0, 2.0
"""Contrast from which on a row's outline is known: over its noise, and over the change of
colour on both sides. Both are 1.8 times as far apart where all is one even slope."""


def exact_outline(turned: Turned, track: Track, *, mm_per_px: float) -> Outline:
    """Locate the outline in every row near a track, to a fraction of a pixel.

    First a path along which the part ends most clearly; then, in each row, the place half
    way between the colours of the part and of the background next to it. This is unbiased
    for a straight outline blurred by an even kernel and rounds a bend of radius r inward by
    sigma^2 / 2r.

    Parameters
    ----------
    turned : Turned
    track : Track
        A straight line that the shims' ends lie about.
    mm_per_px : float
        How far bulges and notches may reach follows from it.

    Returns
    -------
    Outline
        `x` is NaN in rows in which part and background are alike.
    """
    height, width = turned.rgb.shape[:2]
    rows = np.arange(height, dtype=np.float64)
    x = np.round(np.interp(rows, track.rows, track.x))
    within = (x > WIDE) & (x < width - 1 - WIDE)
    rows, x = rows[within], x[within]
    if len(rows) < LEAST_ROWS:
        return Outline(rows=rows, x=np.full(len(rows), np.nan), noise_px=NOTHING_SEEN_PX)
    away = _path(turned, rows[::STRIDE], x[::STRIDE], round(REACH_MM / mm_per_px))
    guess = x + np.interp(rows, rows[::STRIDE], away)
    final = _without_spikes(_half_way(turned, rows, guess))
    return Outline(rows=rows, x=final, noise_px=_roughness(final))


def _roughness(x: Points) -> float:
    """Robust noise from row to row, pixels."""
    known = np.isfinite(x)
    if not known.any():
        return NOTHING_SEEN_PX
    rows = np.arange(len(x))
    smooth = gaussian_filter1d(np.interp(rows, rows[known], x[known]), 3.0)
    return max(1.4826 * float(np.median(np.abs(x - smooth)[known])), 0.02)


def _without_spikes(x: Points) -> Points:
    """The same with rows unknown that stand alone.

    Where a bright shim goes over into dark rubber, a row's mixed colour may be that
    of the background: its outline is then anywhere. A steep flank stays.
    """
    known = np.isfinite(x)
    if not known.any():
        return x
    rows = np.arange(len(x))
    usual = median_filter(np.interp(rows, rows[known], x[known]), SPIKE_ROWS)
    return np.where(np.abs(x - usual) > MOST_SPIKE_PX, np.nan, x)


def _path(turned: Turned, rows: Points, x: Points, reach: int) -> Points:
    """How far from x (N,) the part ends most clearly, along a path down the rows."""
    offsets = np.arange(-reach - MARGIN, reach + MARGIN + 1, dtype=np.float64)
    strip = sample_part(turned.rgb, x[:, None] + offsets, rows[:, None])
    strip = np.asarray(cv2.blur(strip, (1, 3), borderType=cv2.BORDER_REFLECT), np.float32)
    gain = np.log1p(_clearness(strip / _noise(strip)) / CLEAR)
    over = np.maximum(gain - np.log(2.0), 0.0)
    beyond = np.maximum.accumulate(over[:, ::-1], axis=1)[:, ::-1]
    outside = np.zeros_like(beyond)
    outside[:, : -BOX - 2] = beyond[:, BOX + 2 :]
    offsets = offsets[MARGIN:-MARGIN]
    score = gain - OUTSIDE_COST * outside - AWAY_COST * (offsets / reach) ** 2
    path = best_path(
        np.asarray(score.T, np.float64),
        most_move=MOST_MOVE * STRIDE,
        move_cost=MOVE_COST / STRIDE,
    )
    return np.asarray(offsets[path])


def _noise(strip: Strip) -> Strip:
    """Noise (3,) of the strip's values, from its outer half."""
    outer = strip[:, strip.shape[1] // 2 :]
    step = np.abs(outer[:, 2:] - outer[:, :-2]).reshape(-1, 3)
    usual = 1.4826 / np.sqrt(2) * np.median(step[:: max(len(step) // 20000, 1)], axis=0)
    return np.asarray(np.maximum(usual, LEAST_NOISE), np.float32)


def _clearness(strip: Strip) -> Strip:
    """Difference of both sides of each place over its noise (N, W), less the margins.

    The smaller of the plain difference and of that to the background's own slope:
    a blurred edge far behind the part is none of its own.
    """
    total = np.zeros((strip.shape[0], strip.shape[1] + 1, 3), np.float32)
    np.cumsum(strip, axis=1, out=total[:, 1:])
    wide = strip.shape[1] - 2 * MARGIN

    def box(first: int, last: int) -> Strip:
        low, high = MARGIN + first, MARGIN + last + 1
        mean = total[:, high : high + wide] - total[:, low : low + wide]
        return np.asarray(mean / np.float32(high - low), np.float32)

    deep, inside = box(-1 - BOX - FAR, -2 - BOX), box(-1 - BOX, -2)
    near, far = box(2, 1 + BOX), box(2 + BOX, 1 + BOX + FAR)
    step = inside - near
    plain = np.sqrt((step * step).sum(axis=2))
    toward = step / (plain[..., None] + np.float32(1e-6))
    before, beyond = (((a - b) * toward).sum(axis=2) for a, b in ((deep, inside), (near, far)))
    blurred = 2 * np.maximum(np.minimum(before, beyond), 0)
    return np.asarray(np.maximum(plain - blurred, 0) * np.float32(np.sqrt(BOX / 2)), np.float32)


def _half_way(turned: Turned, rows: Points, x: Points) -> Points:
    """Column (N,) half way between both sides; NaN where they are alike."""
    k = np.arange(-WIDE, WIDE + 1, dtype=np.float64)
    found, known = x, np.zeros(len(rows), dtype=bool)
    for _ in range(2):
        # A smooth course: rows that are averaged must not lie beside one another by chance.
        base = gaussian_filter1d(x, COURSE_ROWS)
        strip = sample_part(turned.rgb, base[:, None] + k, rows[:, None])
        strip = np.asarray(cv2.blur(strip, (1, 3), borderType=cv2.BORDER_REFLECT), np.float32)
        # A lens blurs light, not the stored values: half way in those lies too far on the
        # dark side, by half a pixel for black on white. Hence the usual power of 2.2.
        light = np.float32(255) * (strip / np.float32(255)) ** np.float32(2.2)
        found = base - WIDE + _nearest_crossing(light, *_sides(light))
        inside, outside = _sides(strip)
        contrast = np.linalg.norm((inside - outside) / _noise(strip), axis=1)
        change = np.linalg.norm(_slopes(strip) / _noise(strip), axis=2).sum(axis=0)
        known = np.isfinite(found) & (contrast > np.maximum(KNOWN, SHARP * change))
        known &= _is_sharp(strip) | (np.abs(np.gradient(base)) > STEEP)
        if not known.any():
            break
        x = np.interp(rows, rows[known], found[known])
    return np.where(known, found, np.nan)


def _sides(strip: Strip) -> tuple[Points, Points]:
    """Colours (N, 3) of the part and of the background next to the outline."""
    inside = strip[:, WIDE - 8 : WIDE - 2].mean(axis=1).astype(np.float64)
    outside = strip[:, WIDE + 3 : WIDE + 9].mean(axis=1).astype(np.float64)
    inside = gaussian_filter1d(median_filter(inside, (5, 1)), 1.5, axis=0)
    return np.asarray(inside), np.asarray(gaussian_filter1d(outside, 1.5, axis=0))


def _is_sharp(strip: Strip) -> NDArray[np.bool_]:
    """Rows (N,) in which the step is the part's own: what lies behind it is out of focus.

    Beside a blurred step the colours go on changing the same way on both sides.
    """
    parts = ((-9, -5), (-4, -1), (2, 5), (6, 10))
    deep, inside, near, far = (
        gaussian_filter1d(strip[:, WIDE + a : WIDE + b].mean(axis=1), ALONG_ROWS, axis=0)
        for a, b in parts
    )
    step = inside - near
    square = (step**2).sum(axis=1)
    before = ((deep - inside) * step).sum(axis=1)
    beyond = ((near - far) * step).sum(axis=1)
    return np.asarray(2 * np.minimum(before, beyond) < MOST_BLURRED * square)


def _slopes(strip: Strip) -> Points:
    """Change (2, N, 3) of colour from the far to the near half of each side."""
    parts = [
        (WIDE - 8, WIDE - 5),
        (WIDE - 5, WIDE - 2),
        (WIDE + 3, WIDE + 6),
        (WIDE + 6, WIDE + 9),
    ]
    far, near, close, away = (strip[:, a:b].mean(axis=1) for a, b in parts)
    return np.asarray(gaussian_filter1d(np.stack([near - far, close - away]), 1.5, axis=1))


def _nearest_crossing(strip: Strip, inside: Points, outside: Points) -> Points:
    toward = inside - outside
    toward /= (toward**2).sum(axis=1, keepdims=True) + 1e-9
    at_outside = (outside * toward).sum(axis=1, keepdims=True).astype(np.float32)
    share = (strip @ toward.astype(np.float32)[..., None])[..., 0] - at_outside
    within = share > 0.5
    leaves = within[:, :-1] & ~within[:, 1:]
    far = np.abs(np.arange(leaves.shape[1]) + 0.5 - WIDE)
    cost = np.where(leaves, far, np.inf)
    at = np.argmin(cost, axis=1)
    rows = np.arange(len(share))
    upper, lower = share[rows, at], share[rows, at + 1]
    part = (upper - 0.5) / np.where(np.abs(upper - lower) > 1e-9, upper - lower, 1.0)
    return np.where(cost[rows, at] < 6.0, at + np.clip(part, 0, 1), np.nan)
