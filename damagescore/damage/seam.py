"""Where a bond gap ends: its border there, compared with the same border where it is sound."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from damagescore.damage.centreline import read_at
from damagescore.damage.evidence import bond_reach_mm
from damagescore.damage.strip import border
from damagescore.edge.record import Edge, Layer
from damagescore.photo.record import Photo

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

AROUND_MM = 12.0
"""Sound border within this distance of a gap says what its shade is."""

CLEAR_MM = 1.0
"""A gap may go on for this much beyond what was found of it."""

LEAST_SOUND_MM = 3.0

DEEP_MM = 0.3
"""A gap opens within this distance of its border."""

LEVEL_MM = (0.35, 0.8)
"""Where the rubber beside a border is looked at."""

STEADY_MM = 0.06

SPREADS = 2.0
LEAST_DIP = 0.05
TIP_SHARE = 0.15
"""An end must be darker than its sound border by this share of what the gap is."""

AHEAD_MM = 4.0
GIVE_UP_MM = 0.6
"""A rag of the shim or a hair may hide this much of a gap."""

PLAIN, FAINT = 3.0, 1 / 1.5
"""A gap that is this many times as dark as an end must be is plain to see; what is fainter
than the other may be one that fades."""

END_PX = 1.0
"""Even a plain end is spread over the blur of the photo."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seam:
    """The border of a layer around a gap, one place a step along it.

    Parameters
    ----------
    places : ndarray, shape (N, 2)
        The darkest place across the border, photo pixels.
    score : ndarray, shape (N,)
        0 where it is as dark as the sound border usually is, 1 where it is as dark as the
        end of a gap must be.
    judged : ndarray of bool, shape (N,)
        Where the rubber beside it may be judged.
    along : ndarray, shape (2,)
        Unit vector of the layers; `start_px` is the first place's position along it.
    step_px, px_per_mm : float
    border_px : ndarray, shape (N,)
        Position of the border across the layers; `reach_px` is how far from it a line may
        run and still lie on it.
    """

    places: Points
    score: Points
    judged: Mask
    along: Points
    start_px: float
    step_px: float
    px_per_mm: float
    border_px: Points
    reach_px: float

    def column_of(self, points: Points) -> Points:
        return np.asarray((points @ self.along - self.start_px) / self.step_px)

    def holds_end(self, line: Points) -> bool:
        """Whether the last millimetre of a line lies on the border."""
        near = np.hypot(*(line - line[-1]).T) < self.px_per_mm
        return bool(np.mean(self._away(line[near]) < self.reach_px) > 0.5)

    def _away(self, points: Points) -> Points:
        across = np.array([-self.along[1], self.along[0]])
        columns = np.arange(len(self.border_px))
        level = np.interp(self.column_of(points), columns, self.border_px)
        return np.asarray(np.abs(points @ across - level))

    def ended(self, line: Points) -> Points:
        """A line whose last end is moved to the end of the gap."""
        last = self._end(line, 1.0)
        columns = self.column_of(line)
        way = 1 if columns[-1] > columns[0] else -1
        kept = line[: max(2, int(np.sum(way * columns <= way * last)))]
        # What the search saw last is drawn towards the sound border.
        first = round(self.column_of(kept[-1:])[0]) + way
        more = self.places[first : last + 1] if way > 0 else self.places[last : first + 1][::-1]
        return np.vstack([kept, more])

    def sees_beyond(self, line: Points) -> bool:
        """Whether the border may be judged beyond the last end of a line."""
        end, columns = self._end(line, 1.0), self.column_of(line[[0, -1]])
        reach = round(GIVE_UP_MM * self.px_per_mm / self.step_px)
        beyond = self.judged[end : end + reach + 1]
        if columns[-1] < columns[0]:
            beyond = self.judged[max(0, end - reach) : end + 1]
        return len(beyond) > reach and bool(beyond.all())

    def u_end_px(self, line: Points) -> float:
        """Standard uncertainty of the last end along the line.

        The farther of two bounds is the half width of a uniform distribution (JCGM
        100:2008, 4.3.7): where the gap is `PLAIN`, as one that fades slowly goes on unseen
        for about as long, and where it is no more than `FAINT`.
        """
        here = self._end(line, 1.0)
        bounds = [self._end(line, level) for level in (PLAIN, FAINT)]
        half = max(abs(bound - here) for bound in bounds) * self.step_px
        return math.hypot(half / math.sqrt(3), END_PX)

    def _end(self, line: Points, level: float) -> int:
        """Column of the last end of a line.

        The sum of what the score is over `level`, from the plainest part outwards, is
        largest there: so a rag is stepped over where enough of the gap follows.
        """
        columns = np.clip(np.round(self.column_of(line[[0, -1]])), 0, len(self.score) - 1)
        start, end = (int(c) for c in columns)
        way = 1 if end > start else -1
        score = self.score[::way]
        if way < 0:
            start, end = len(score) - 1 - start, len(score) - 1 - end
        anchor = start + int(np.argmax(score[start : end + 1]))
        most = end + 1 + round(AHEAD_MM * self.px_per_mm / self.step_px)
        total = np.cumsum(np.clip(score[anchor:most] / level - 1, -1, 1))
        lost = np.maximum.accumulate(total) - total
        lost[: end - anchor] = 0  # the search has joined what it found
        given_up = np.flatnonzero(lost > GIVE_UP_MM * self.px_per_mm / self.step_px)
        total = total[: given_up[0]] if len(given_up) else total
        found = anchor + int(np.argmax(total))
        return found if way > 0 else len(score) - 1 - found


def seam_of(
    photo: Photo, edge: Edge, layer: Layer, *, line: Points, px_per_mm: float
) -> Seam | None:
    """The border that a line runs along.

    Parameters
    ----------
    layer : Layer
        That the line lies in.
    line : ndarray, shape (N, 2)
        Photo pixels.

    Returns
    -------
    Seam or None
        None where less than half of the line runs along one border, or too little sound
        border lies around it to compare it with.

    Notes
    -----
    A gap has no light: beside it the photo dips below the level of the rubber, which the
    blur of a bright shim never does. What else is dark along a border, a contact shadow
    or a moulded rim, is dark where it is sound too.
    """
    along, across = edge.frame
    s = line @ along
    upper, lower = (border(c, along, across) for c in (layer.upper_px, layer.lower_px))
    thick = float(np.median(np.interp(s, *lower) - np.interp(s, *upper)))
    if thick < LEVEL_MM[1] * px_per_mm:
        return None
    reach = bond_reach_mm(round(thick), px_per_mm) * px_per_mm
    near = [
        float(np.mean(np.abs(line @ across - np.interp(s, *x)) < reach)) for x in (upper, lower)
    ]
    if max(near) <= 0.5:
        return None
    curve, inward = (upper, 1.0) if near[0] >= near[1] else (lower, -1.0)
    step = max(1.0, 0.04 * px_per_mm)
    around = AROUND_MM * px_per_mm
    first, last = max(curve[0][0], s.min() - around), min(curve[0][-1], s.max() + around)
    at = np.arange(first, last, step)
    level = np.interp(at, *curve)
    base = at[:, None] * along + level[:, None] * across
    offsets = np.arange(0.0, LEVEL_MM[1] * px_per_mm, max(0.5, 0.02 * px_per_mm))
    dip, away = _dip(
        read_at(photo.grey, base[:, None] + inward * offsets[:, None] * across),
        offsets / px_per_mm, steady=STEADY_MM * px_per_mm / step,
    )  # fmt: skip
    places = base + inward * (away * px_per_mm)[:, None] * across
    judged = _judged(edge, base + inward * 0.2 * px_per_mm * across)
    score = _score(dip, judged, at, s, px_per_mm=px_per_mm)
    if score is None:
        return None
    return Seam(
        places=places, score=score, judged=judged, along=along, start_px=float(first),
        step_px=step, px_per_mm=px_per_mm, border_px=level, reach_px=reach,
    )  # fmt: skip


def _dip(cuts: Image, offsets_mm: Points, *, steady: float) -> tuple[Points, Points]:
    """By how much each cut is darker than its rubber, and how far from the border, mm."""
    beside = cuts[:, offsets_mm >= LEVEL_MM[0]]
    level = gaussian_filter1d(np.median(beside, axis=1), 3 * steady, mode="nearest")
    near = cuts[:, offsets_mm <= DEEP_MM]
    across = 0.02 / (offsets_mm[1] - offsets_mm[0])
    fine = cv2.GaussianBlur(near, (0, 0), sigmaX=across, sigmaY=steady)
    dark = 1 - fine / np.maximum(level, 4.0)[:, None]
    deepest = np.argmax(dark, axis=1)
    away = median_filter(offsets_mm[deepest], size=2 * round(2 * steady) + 1, mode="nearest")
    return dark.max(axis=1).astype(np.float64), np.asarray(away)


def _judged(edge: Edge, places: Points) -> Mask:
    height, width = edge.shape
    x, y = np.round(places).astype(int).T
    inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    found = edge.judged[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)]
    return np.asarray(inside & found)


def _score(
    dip: Points, judged: Mask, at: Points, line: Points, *, px_per_mm: float
) -> Points | None:
    """`Seam.score`; None where too little sound border is seen. `at`, `line`: along, px."""
    clear = CLEAR_MM * px_per_mm
    gap = (at > line.min()) & (at < line.max())
    sound = judged & ((at < line.min() - clear) | (at > line.max() + clear))
    if np.sum(sound) * (at[1] - at[0]) < LEAST_SOUND_MM * px_per_mm or not gap.any():
        return None
    usual = float(np.median(dip[sound]))
    # Robust, as another gap may lie on the border.
    spread = 1.4826 * float(np.median(np.abs(dip[sound] - usual)))
    body = float(np.quantile(dip[gap], 0.75))
    least = max(SPREADS * spread, LEAST_DIP, TIP_SHARE * (body - usual))
    return np.where(judged, (dip - usual) / least, 0.0)
