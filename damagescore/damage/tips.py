"""Where a dark stroke ends: moving the ends of a centre line onto its tips."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from damagescore.damage.centreline import resample
from damagescore.damage.ridge import local_mean
from damagescore.damage.strip import blurred
from damagescore.ranks import median

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

BACK_MM = 0.5
"""The elongated filters overshoot a tip by up to their half length; start inside it."""

AHEAD_MM = 2.0
DARKER = 1.6
"""Times the darkness of a line at which another crack begins."""

SURE = 1.5
"""What the search joined must on the whole be this many times as dark as an end must be."""

END_PX = 1.0
"""Even the end of a plain stroke is spread over the blur of the photo."""

CLICK_PX = 1.5

REACH_MM = 2.5
"""An end is not looked for further back than this."""

GAP_MM = 0.6
"""A speck or a hair on a stroke may hide this much of it."""

LOOK_MM = 0.2
LOOK = np.linspace(0.15, 1.0, 6)
SIDE_MM = 0.3
AROUND_MM = 5.0
"""Sound rubber within this distance says what grain and border look like."""

BORDER_MM = 0.5
"""Reach of a shim's gleam and contact shadow into the rubber."""

OUTSIDE = -3.0
TURN_DEG = 36.0
TIP_SHARE = 0.22
"""A tip of 0.05 mm, blurred by 0.05 mm, keeps about a third of the stroke's darkness."""

LEAST_DARKNESS = 0.08
"""A stroke fainter than this is not told from the grain of the rubber."""

CHANCE_SPREADS = 1.645
"""What a walk's best look sees on sound rubber, exceeded by chance once in twenty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surround:
    """Relative darkness of the photo around a line.

    `dark` (h, w) is 0 on the rubber beside the stroke, the usual shade of the layer's
    border taken off, and far below it outside the judged rubber; `corner` (x, y) is the
    photo pixel of its first element; `px_per_mm` is the photo's. `sound` (N, 2) are
    places on sound rubber, `from_border_px` (N,) their distance from what is not
    judged, and `depth` (h, w) that of every pixel.
    """

    dark: Image
    corner: Points
    px_per_mm: float
    sound: Points
    depth: Image

    def contrast(self, places: Points, headings: Points) -> Image:
        """How much darker the next bit of line is than both its sides.

        Parameters
        ----------
        places : ndarray, shape (N, 2)
            Photo pixels.
        headings : ndarray, shape (M,) or (N, M)
            Radians.

        Returns
        -------
        ndarray, shape (N, M, L)
            Darkness at L places ahead, less that of the darker side.
        """
        middle, left, right = self.look(places, headings)
        beside = (left + right) / 2
        return np.asarray(middle - np.maximum(beside, 0)[:, :, None], np.float32)

    def look(self, places: Points, headings: Points) -> tuple[Image, Image, Image]:
        """Darkness at L places ahead, (N, M, L), and mean darkness of both sides, (N, M)."""
        # Places last: a short last axis is slow, and a walk looks hundreds of times.
        c, s = np.cos(headings), np.sin(headings)
        ahead = (LOOK * LOOK_MM * self.px_per_mm)[:, None, None]
        left_x, left_y = (x * SIDE_MM * self.px_per_mm for x in (-s, c))
        sides = np.array([0.0, 1.0, -1.0])[:, None, None, None]
        x = (places[:, :1] + ahead * c) + sides * left_x
        y = (places[:, 1:] + ahead * s) + sides * left_y
        read = self._at(self.dark, x.reshape(3 * len(LOOK), -1), y.reshape(3 * len(LOOK), -1))
        middle, left, right = read.reshape(x.shape)
        return np.moveaxis(middle, 0, -1), left.mean(axis=0), right.mean(axis=0)

    def from_border_mm(self, places: Points) -> Image:
        """Distance from what is not judged."""
        read = self._at(self.depth, places[:, :1], places[:, 1:])
        return np.asarray(read[:, 0] / self.px_per_mm)

    def _at(self, image: Image, x: Points, y: Points) -> Image:
        if x.size == 0:  # OpenCV refuses to read nowhere
            return np.zeros(x.shape, np.float32)
        read = cv2.remap(
            image, (x - self.corner[0]).astype(np.float32),
            (y - self.corner[1]).astype(np.float32), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=OUTSIDE,
        )  # fmt: skip
        return np.asarray(read, np.float32)


def surround_of(grey: Image, line: Points, inside: Mask, *, px_per_mm: float) -> Surround:
    """Darkness around a line, with sound rubber on all sides of it.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
    line : ndarray, shape (N, 2)
        Photo pixels.
    inside : ndarray of bool, shape (H, W)
        Where a stroke may run; its edge is an end.
    px_per_mm : float
    """
    reach = math.ceil(AROUND_MM * px_per_mm)
    x0, y0 = (max(0, int(c) - reach) for c in line.min(axis=0))
    x1, y1 = (int(c) + reach + 1 for c in line.max(axis=0))
    part, allowed = grey[y0:y1, x0:x1], inside[y0:y1, x0:x1]
    stroke = np.zeros(part.shape, np.uint8)
    course = np.round(line - (x0, y0)).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(stroke, [course], False, 1, max(1, round(0.8 * px_per_mm)))
    sound = allowed & (stroke == 0)
    fine = blurred(part, max(0.5, 0.025 * px_per_mm))
    depth, side = _from_borders(allowed)
    level = local_mean(fine, sound, 0.8 * px_per_mm)
    # Chalk or lint must not make the rubber beside it look dark: a walk would turn along it.
    lying = (blurred(fine, 0.1 * px_per_mm) > 1.25 * level) & (depth > BORDER_MM * px_per_mm)
    if lying.any():
        level = local_mean(fine, sound & ~lying, 0.8 * px_per_mm)
    dark = 1 - fine / level
    dark -= _border_shade(dark, sound, depth, side, px_per_mm=px_per_mm)
    dark[~allowed] = OUTSIDE
    corner = np.array([x0, y0], np.float64)
    gap = max(1, round(0.08 * px_per_mm))
    rows, columns = np.nonzero(sound[::gap, ::gap])
    return Surround(
        dark=dark.astype(np.float32), corner=corner, px_per_mm=px_per_mm,
        sound=np.column_stack([columns, rows]) * gap + corner,
        depth=np.asarray(depth, np.float32),
    )  # fmt: skip


def _from_borders(allowed: Mask) -> tuple[Image, NDArray[np.int32]]:
    """Distance from what is not judged, px, and which piece of it is the nearest, from 1."""
    depth, side = cv2.distanceTransformWithLabels(
        allowed.astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_CCOMP
    )
    return np.asarray(depth, np.float32), np.asarray(side, np.int32)


def _border_shade(
    dark: Image, sound: Mask, depth: Image, side: NDArray[np.int32], *, px_per_mm: float
) -> Image:
    """What sound rubber usually looks like at each distance from each of its borders.

    The light falls on one border and not on the other, so `side` keeps them apart.
    """
    reach = round(BORDER_MM * px_per_mm)
    shade = np.zeros(dark.shape, np.float32)
    at = np.flatnonzero((depth > 0) & (depth < reach + 1))
    border = side.ravel()[at]
    long = np.bincount(border) > 50
    held = long[border]
    at, border = at[held], border[held]
    step = depth.ravel()[at].astype(np.intp)
    # One number a distance and border: few, so that they are soon sorted.
    group = (np.cumsum(long) - 1)[border] * (reach + 1) + step
    plain = sound.ravel()[at]
    levels = _levels(dark.ravel()[at[plain]], group[plain], int(long.sum()) * (reach + 1))
    shade.ravel()[at] = levels[group]
    return shade


def _levels(seen: Image, group: NDArray[np.intp], count: int) -> Image:
    """Median darkness of each group, 0 where too little is seen or it gleams."""
    levels = np.zeros(count, np.float32)
    order = np.argsort(group.astype(np.min_scalar_type(count)), kind="stable")
    bounds = np.concatenate([[0], np.cumsum(np.bincount(group, minlength=count))])
    ordered = seen[order]
    for k in range(count):
        here = ordered[bounds[k] : bounds[k + 1]]
        # A gleaming border is no reason to take plain rubber beside it for dark.
        levels[k] = max(0.0, median(here)) if len(here) > 50 else 0.0
    return levels


def with_true_end(around: Surround, line: Points) -> Points:
    """Move the last end of a line to the stroke's tip.

    Parameters
    ----------
    around : Surround
    line : ndarray, shape (N, 2)
        Evenly spaced centre line, photo pixels.

    Notes
    -----
    A walk goes on from inside the stroke, turning with it. The end is where the sum of
    (contrast - threshold) from the plainest part of the line outwards is largest, so
    that a speck on the stroke is stepped over where enough of it follows, and a pale
    stretch that the search added is given back.
    """
    if len(line) < 6:
        return line
    step = float(np.hypot(*(line[1] - line[0])))
    seen = line_contrast(around, line)
    steady = uniform_filter1d(seen, max(3, round(0.8 * around.px_per_mm / step)))
    anchor = min(int(np.argmax(steady)), len(line) - 4)
    back = min(BACK_MM * around.px_per_mm / step, (len(line) - anchor) / 4)
    body = line[: max(anchor + 3, len(line) - round(back))]
    heading = _heading(body, round(0.4 * around.px_per_mm / step))
    usual = float(np.quantile(seen, 0.75))
    threshold = threshold_at(around, line, heading, usual)
    walked, ahead = _walk(around, body[-1], heading, step=step)
    # What is far darker than the line is another crack, which it meets.
    ahead = ahead[: np.argmax(ahead > DARKER * usual)] if max(ahead) > DARKER * usual else ahead
    score = np.concatenate([seen[anchor : len(body)], ahead]) / threshold
    found, gap = len(body) - anchor, GAP_MM * around.px_per_mm / step
    last = anchor + _resumed(score, _last_seen(score, found=found), gap=gap)
    ended = np.vstack([body, walked])[: max(4, last + 1)]
    return np.vstack([ended, _rest(around, ended, threshold)])


def _last_seen(score: Points, *, found: int) -> int:
    """Where the stroke ends before any further speck.

    Among the first `found`, which the search has joined, a gap is crossed where what
    follows outweighs it; from there on the first place that is too pale is the end.
    """
    sure = int(np.argmax(np.cumsum(np.clip(score[:found] / SURE - 1, -1, 1))))
    pale = np.flatnonzero(score[sure + 1 :] < 1)
    return sure + int(pale[0] if len(pale) else len(score) - sure - 1)


def _resumed(score: Points, last: int, *, gap: float) -> int:
    """The end beyond a speck on the stroke: what follows is twice as dark as it must be."""
    total = np.cumsum(np.clip(score[last + 1 :] / 2 - 1, -1, 1))
    given_up = np.flatnonzero(total < -gap)
    total = total[: given_up[0]] if len(given_up) else total
    return last + 1 + int(np.argmax(total)) if len(total) and total.max() > 0 else last


def line_contrast(around: Surround, line: Points) -> Points:
    """Contrast at every point, along the line's own course."""
    tangent = np.gradient(line, axis=0)
    headings = np.arctan2(tangent[:, 1], tangent[:, 0])
    # A look goes ahead: centre it on its place.
    behind = (
        0.5 * LOOK_MM * around.px_per_mm * np.column_stack([np.cos(headings), np.sin(headings)])
    )
    middle, left, right = around.look(line - behind, headings[:, None])
    # Beside another stroke the free side tells.
    beside = np.maximum(np.minimum(left, right), 0)
    return np.asarray((middle.mean(axis=2) - beside)[:, 0], np.float64)


def _heading(line: Points, points: int) -> float:
    n_aim = min(len(line) - 1, max(3, points))
    aim = line[-1] - line[-1 - n_aim]
    return math.atan2(aim[1], aim[0])


def threshold_at(around: Surround, line: Points, heading: float, body: float) -> float:
    """Contrast that a stroke must show at the end of a line."""
    return max(LEAST_DARKNESS, TIP_SHARE * body, chance_contrast(around, line[-1], heading))


def chance_contrast(around: Surround, tip: Points, heading: float) -> float:
    """What a walk's best look sees on sound rubber near a tip, by chance."""
    away = around.sound - tip
    near = away[:, 0] ** 2 + away[:, 1] ** 2 < (AROUND_MM * around.px_per_mm) ** 2
    places = around.sound[near]
    off = float(around.from_border_mm(tip[None])[0])
    if off < BORDER_MM:
        # A contact shadow or a moulded rim is a line of its own: compare with that.
        along = places[np.abs(around.from_border_mm(places) - off) < 0.06]
        places = along if len(along) >= 20 else places
    if len(places) < 20:
        return 0.0
    some = places[:: max(1, len(places) // 400)]
    best = around.contrast(some, heading + _turns()).mean(axis=2).max(axis=1)
    best = best[best > OUTSIDE / 2]
    if len(best) == 0:
        return 0.0
    # Robust, as another crack or a branch may lie in the surround.
    middle = median(best)
    return middle + CHANCE_SPREADS * 1.4826 * median(np.abs(best - middle))


def _turns() -> Points:
    return np.radians(np.linspace(-TURN_DEG, TURN_DEG, 13))


def _walk(
    around: Surround, start: Points, heading: float, *, step: float
) -> tuple[Points, Points]:
    """Points after `start`, one a step, and what is seen ahead of each."""
    turns = _turns()
    most = int((BACK_MM + AHEAD_MM) * around.px_per_mm / step)
    at, walked, ahead = start, [], []
    for _ in range(most):
        value = around.contrast(at[None], heading + turns)[0].mean(axis=1)
        best = int(np.argmax(value - 0.1 * np.abs(turns)))
        # Half the turn: the aim lies ahead, and a tip bends, it does not zigzag.
        heading += 0.5 * float(turns[best])
        at = at + step * np.array([math.cos(heading), math.sin(heading)])
        walked.append(at)
        ahead.append(float(value[best]))
    return np.array(walked).reshape(-1, 2), np.array(ahead)


def _rest(around: Surround, line: Points, threshold: float) -> Points:
    """The last bit of stroke inside the final look ahead, shape (0 or 1, 2)."""
    heading = _heading(line, 4)
    dark = around.contrast(line[-1:], np.array([heading]))[0, 0] >= threshold
    if not dark[0]:
        return line[:0]
    last = int(np.argmin(dark)) - 1 if not dark.all() else len(dark) - 1
    ahead = float(LOOK[last]) * LOOK_MM * around.px_per_mm
    return line[-1:] + ahead * np.array([[math.cos(heading), math.sin(heading)]])


def u_ends_px(around: Surround, lines: list[Points]) -> list[float]:
    """Standard uncertainty of every free end along its line, photo pixels.

    Both ends of the first line come first, then the last end of each branch that does
    not come back to a line before it.
    """
    ends = [lines[0][::-1], lines[0]]
    ends += [
        line
        for k, line in enumerate(lines)
        if k and all(np.min(np.hypot(*(x - line[-1]).T)) >= 1.0 for x in lines[:k])
    ]
    return [_u_end_px(around, line) for line in ends]


def _u_end_px(around: Surround, line: Points) -> float:
    """Of the last end of a line.

    Where the stroke is plainly seen (`SURE` times the threshold) and where it is only
    just suspected (the threshold over `SURE`) bound the end; the farther of them is the
    half width of a uniform distribution (JCGM 100:2008, 4.3.7). So a stroke that tapers
    into grain has an uncertain end, a broad one on smooth rubber a certain one.
    """
    step = max(1.0, 0.04 * around.px_per_mm)
    even = resample(line, step_px=step)
    if len(even) < 6:
        return CLICK_PX
    step = float(np.hypot(*(even[1] - even[0])))
    seen = line_contrast(around, even)
    back = min(len(even) - 2, round(REACH_MM * around.px_per_mm / step))
    inner = max(1, len(even) - 1 - round(LOOK_MM * around.px_per_mm / step))
    heading = _heading(even[: inner + 1], round(0.4 * around.px_per_mm / step))
    threshold = threshold_at(around, even, heading, float(np.quantile(seen, 0.75)))
    _, ahead = _walk(around, even[inner], heading, step=step)
    score = np.concatenate([seen[len(even) - 1 - back : inner], ahead]) / threshold
    bounds = [
        int(np.argmax(np.cumsum(np.clip(score / level - 1, -1, 1))))
        for level in (SURE, 1 / SURE)
    ]
    here = max(0, back - (len(even) - 1 - inner))
    half = max(abs(bound - here) for bound in bounds) * step
    return math.hypot(half / math.sqrt(3), END_PX)
