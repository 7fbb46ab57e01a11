"""Where a dark stroke ends: moving the ends of a centre line onto its tips."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.spatial import cKDTree

from damagescore.damage.centreline import resample
from damagescore.damage.surround import (
    AROUND_MM,
    BORDER_MM,
    LOOK,
    LOOK_MM,
    OUTSIDE,
    Surround,
)
from damagescore.ranks import median

Points = NDArray[np.float64]
Image = NDArray[np.float32]

BACKS_MM = (0.5, 0.25, 0.75, 1.0, 0.0)
"""The elongated filters overshoot a tip by up to their half length, and a grain beside it may
have drawn the search away: start inside it, where most of what was seen shows a stroke."""

AHEAD_MM = 2.5

MET_MM = 0.2
"""A walk that comes this near to another line, or back to its own, has run into its stroke."""

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

TURN_DEG = 36.0
TIP_SHARE = 0.22
"""A tip of 0.05 mm, blurred by 0.05 mm, keeps about a third of the stroke's darkness."""

LEAST_DARKNESS = 0.08
"""A stroke fainter than this is not told from the grain of the rubber."""

CHANCE_SPREADS = 1.645
"""What a walk's best look sees on sound rubber, exceeded by chance once in twenty."""


def with_true_end(around: Surround, line: Points, others: Points | None = None) -> Points:
    """Move the last end of a line to the stroke's tip.

    Parameters
    ----------
    around : Surround
    line : ndarray, shape (N, 2)
        Evenly spaced centre line, photo pixels.
    others : ndarray, shape (M, 2), optional
        Places of other lines: no walk goes on into their strokes.

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
    backs = np.round(np.array(BACKS_MM) * around.px_per_mm / step).astype(int)
    bodies = [line[: max(anchor + 3, len(line) - b)] for b in backs]
    headings = [_heading(body, round(0.4 * around.px_per_mm / step)) for body in bodies]
    walks = _walks(around, np.array([body[-1] for body in bodies]), headings, step=step)
    courses = [
        _ended(
            around,
            line,
            body,
            seen,
            heading=heading,
            walk=walk,
            anchor=anchor,
            step=step,
            others=others,
        )
        for body, heading, walk in zip(bodies, headings, walks, strict=True)
    ]
    return max(courses, key=lambda course: course[1])[0]


def _ended(
    around: Surround,
    line: Points,
    body: Points,
    seen: Points,
    *,
    heading: float,
    walk: tuple[Points, Points],
    anchor: int,
    step: float,
    others: Points | None,
) -> tuple[Points, float]:
    """A line to where its walk from the end of `body` says, and the evidence for that."""
    usual = float(np.quantile(seen, 0.75))
    threshold = threshold_at(around, line, heading, usual)
    walked, ahead = walk
    # What is far darker than the line is another crack, which it meets.
    met = ahead > DARKER * usual
    own = body[: -round(2 * MET_MM * around.px_per_mm / step)]
    drawn = own if others is None else np.vstack([own, others])
    if len(drawn):
        met |= cKDTree(drawn).query(walked)[0] < MET_MM * around.px_per_mm
    ahead = ahead[: np.argmax(met)] if met.any() else ahead
    score = np.concatenate([seen[anchor : len(body)], ahead]) / threshold
    found, gap = len(body) - anchor, GAP_MM * around.px_per_mm / step
    last = _resumed(score, _last_seen(score, found=found), gap=gap)
    ended = np.vstack([body, walked])[: max(4, anchor + last + 1)]
    # What the search did not see says nothing of which course is its own.
    own_course = score[: min(last + 1, len(line) - anchor)]
    evidence = float(np.sum(np.clip(own_course - 1, -1, 1)))
    return np.vstack([ended, _rest(around, ended, threshold)]), evidence


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


def _walks(
    around: Surround, starts: Points, headings: Sequence[float], *, step: float
) -> list[tuple[Points, Points]]:
    """For each start the points after it, one a step, and what is seen ahead of each.

    All walk abreast: each look costs about as much as one for all.
    """
    turns = _turns()
    most = int(AHEAD_MM * around.px_per_mm / step)
    at, heading = starts, np.array(headings, np.float64)
    walked, ahead = [], []
    for _ in range(most):
        value = around.contrast(at, heading[:, None] + turns).mean(axis=2)
        best = np.argmax(value - 0.1 * np.abs(turns), axis=1)
        # Half the turn: the aim lies ahead, and a tip bends, it does not zigzag.
        heading = heading + 0.5 * turns[best]
        at = at + step * np.column_stack([np.cos(heading), np.sin(heading)])
        walked.append(at)
        ahead.append(value[np.arange(len(best)), best])
    places = np.array(walked).reshape(most, len(starts), 2)
    seen = np.array(ahead, np.float64).reshape(most, len(starts))
    return [(places[:, k], seen[:, k]) for k in range(len(starts))]


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
    ((_, ahead),) = _walks(around, even[inner : inner + 1], [heading], step=step)
    score = np.concatenate([seen[len(even) - 1 - back : inner], ahead]) / threshold
    bounds = [
        int(np.argmax(np.cumsum(np.clip(score / level - 1, -1, 1))))
        for level in (SURE, 1 / SURE)
    ]
    here = max(0, back - (len(even) - 1 - inner))
    half = max(abs(bound - here) for bound in bounds) * step
    return math.hypot(half / math.sqrt(3), END_PX)
