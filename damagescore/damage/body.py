"""The open body of a dark crack: its own outline says how it branches and closes loops."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import percentile_filter
from scipy.spatial import cKDTree

from damagescore.damage.centreline import (
    connected,
    normals,
    read_at,
    resample,
    smooth,
)
from damagescore.damage.network import networks, thin
from damagescore.damage.surround import OUTSIDE, Surround
from damagescore.photo.along import run_of
from damagescore.ranks import median, quantile
from damagescore.runs import runs_of_true

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

LEAST_DARKNESS = 0.4
SPREADS = 6.0
"""A paler crack, or one that stands out of the grain by fewer spreads, has no outline."""

BODY = 0.5
"""Share of a crack's darkness from which a place lies in its body."""

STRAND_MM = 0.3
VALLEY = 0.25
"""Between two strands nearer than `STRAND_MM` it is lighter by this share of the darkness."""

PALE = 0.3
"""A piece whose darkness is less than this share of its crack's may be a mistaken link."""

REACH_MM = 0.8
"""Farther from what the search saw nothing is taken along, nor what goes on beyond: a branch
as long would have been seen, a joint of the mould is left out on purpose."""

BESIDE = 0.7
"""A piece of which this share lies beside what the search saw belongs to it."""

HOLE_MM = 0.08
"""Side of a square as large as the least hole that parts two strands."""

DUST = -0.5
"""What is this much brighter than the rubber lies on the crack and hides it."""

SPUR_MM = 0.2
"""A branch must stand out of the other openings by this much."""

LEAST_HALF_MM = 0.08
"""Half width of a stroke too fine to have an outline."""


MEETS_MM = 2.0
"""Where branches leave a stroke its outline is wider, over less than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A network after the outline of its crack.

    `lines` (N, 2) are the main path, then branches, each starting on a path before it,
    photo pixels. `half` (h, w) is the distance from the outline, px, 0 outside; `corner`
    (x, y) the photo pixel of its first element; `px_per_mm` the photo's.
    """

    lines: list[Points]
    half: Image
    corner: Points
    px_per_mm: float

    def half_px(self, places: Points) -> Points:
        """Half width of the opening whose middle lies at each place."""
        height, width = self.half.shape
        x, y = np.round(places - self.corner).astype(int).T
        inside = self.half[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)]
        half = np.maximum(inside.astype(np.float64), LEAST_HALF_MM * self.px_per_mm)
        return np.asarray(half)

    def own_half_px(self, line: Points) -> Points:
        """Half width along an evenly spaced line, without what meets it there."""
        step = float(np.hypot(*(line[1] - line[0])))
        window = 2 * round(MEETS_MM / 2 * self.px_per_mm / max(step, 0.1)) + 1
        half = percentile_filter(self.half_px(line), 20, size=window, mode="nearest")
        return np.asarray(half)


def body_of(
    around: Surround, rough: list[Points], *, step_px: float, others: Sequence[Points] = ()
) -> Body | None:
    """The body of a crack that the search has seen.

    Parameters
    ----------
    around : Surround
    rough : list of ndarray, shape (N, 2)
        Photo pixels: the main path, then branches.
    step_px : float
        Between the vertices of the lines that are made.
    others : sequence of ndarray, shape (N, 2)
        Lines of other cracks: what lies nearer to them is theirs.

    Returns
    -------
    Body or None
        None where the crack is too pale to have an outline.
    """
    reach = round(REACH_MM * around.px_per_mm)
    places = np.vstack(rough) - around.corner
    low = np.maximum(np.floor(places.min(axis=0)).astype(int) - reach, 0)
    high = np.ceil(places.max(axis=0)).astype(int) + reach + 1
    dark = around.dark[low[1] : high[1], low[0] : high[0]]
    corner = around.corner + low
    own = [
        np.vstack([_meeting(line, rough[:k]), line]) if k else line
        for k, line in enumerate(rough)
    ]
    on = _drawn(own, corner, dark.shape)
    core = quantile(dark[on], 0.75)
    away = _from(on)
    sound = dark[(away > reach / 2) & (dark > OUTSIDE / 2)]
    grain = 1.4826 * median(np.abs(sound - median(sound))) if len(sound) else 0.0
    if core < max(LEAST_DARKNESS, SPREADS * grain):
        return None
    near = (away <= reach) & (away <= _from(_drawn(others, corner, dark.shape)))
    size = 2 * round(STRAND_MM / 2 * around.px_per_mm) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    valley = cv2.morphologyEx(dark, cv2.MORPH_CLOSE, disc) - dark > VALLEY * core
    mask = (dark > BODY * core) & ~valley & near
    lying = cv2.dilate((dark < DUST).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    mask |= lying & (cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, disc) > 0)
    mask = _without_pinholes(_touching(mask, on), (HOLE_MM * around.px_per_mm) ** 2)
    half = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)
    on &= ~_pale_links(on, mask, dark, PALE * core)
    skeleton = _without_far(thin(mask | on), away, reach_px=reach)
    found = networks(skeleton, shortest_branch_px=SPUR_MM * around.px_per_mm)
    lines = max((x.lines for x in found), key=lambda x: sum(len(line) for line in x))
    made = [
        _centred(dark, smooth(resample(line, step_px=step_px), spread=2.0)) + corner
        for line in lines
    ]
    return Body(
        lines=made, half=np.asarray(half, np.float32), corner=corner,
        px_per_mm=around.px_per_mm,
    )  # fmt: skip


def _drawn(lines: Sequence[Points], corner: Points, shape: tuple[int, ...]) -> Mask:
    canvas = np.zeros(shape, np.uint8)
    for line in lines:
        course = np.round(line - corner).astype(np.int32).reshape(-1, 1, 2)
        cv2.polylines(canvas, [course], False, 1)
    return canvas > 0


def _from(mask: Mask) -> Image:
    """Distance of every place from the True ones, px; endless where there are none."""
    if not mask.any():
        return np.full(mask.shape, np.inf, np.float32)
    return np.asarray(cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5))


def _meeting(line: Points, others: list[Points]) -> Points:
    """The place of other lines where a branch begins: smoothing may have parted them."""
    nodes = np.vstack(others)
    return np.asarray(nodes[[np.argmin(np.hypot(*(nodes - line[0]).T))]])


def _touching(mask: Mask, start: Mask) -> Mask:
    _, label = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    held = np.unique(label[start])
    return np.asarray(np.isin(label, held[held > 0]))


def _without_pinholes(body: Mask, least_px: float) -> Mask:
    """Fill holes that are too small to part strands."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(
        (~body).astype(np.uint8), connectivity=4
    )
    small = stats[:, cv2.CC_STAT_AREA] < least_px
    small[0] = False
    return np.asarray(body | small[label])


def _pale_links(on: Mask, body: Mask, dark: Image, least: float) -> Mask:
    """Pale pieces of the search's lines between places that the body joins already."""
    wide = cv2.dilate(body.astype(np.uint8), np.ones((3, 3), np.uint8))
    part = cv2.connectedComponents(wide, connectivity=8)[1]
    count, piece = cv2.connectedComponents((on & (wide == 0)).astype(np.uint8), connectivity=8)
    found = np.zeros_like(on)
    for k in range(1, count):
        here = piece == k
        rim = cv2.dilate(here.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        contacts, contact = cv2.connectedComponents((rim & (wide > 0)).astype(np.uint8))
        met = {int(part[contact == c][0]) for c in range(1, contacts)}
        if contacts > 2 > len(met) and quantile(dark[here], 0.25) < least:
            found |= here
    return found


def _without_far(skeleton: Mask, away: Image, *, reach_px: float) -> Mask:
    """Leave out the pieces between meeting points that lead out of the reach."""
    around = np.ones((3, 3), np.uint8)
    near = cv2.filter2D(skeleton.astype(np.uint8), -1, around, borderType=cv2.BORDER_CONSTANT)
    meeting = cv2.dilate((skeleton & (near > 3)).astype(np.uint8), around) > 0
    piece = cv2.connectedComponents((skeleton & ~meeting).astype(np.uint8), connectivity=8)[1]
    size = np.maximum(np.bincount(piece.ravel()), 1)
    beside = np.bincount(piece[away < reach_px / 2], minlength=len(size)) / size
    out = np.bincount(piece[away > reach_px - 3], minlength=len(size)) > 0
    gone = out & (beside < BESIDE)
    # A dead end as long was seen by the search as well, and left out on purpose.
    ends = np.bincount(piece[skeleton & (near == 2)], minlength=len(size)) > 0
    apart = np.bincount(piece[away > reach_px / 4], minlength=len(size)) / size > 0.5
    gone |= ends & apart & (size > reach_px / 2)
    gone[0] = False
    return np.asarray(skeleton & ~gone[piece])


def _centred(dark: Image, line: Points) -> Points:
    """A line of whole pixels moved onto the middle of its stroke, by a pixel at most."""
    offsets = np.arange(-24, 25) * 0.5
    middle = len(offsets) // 2
    across = normals(line)
    depth = read_at(dark, line[:, None] + offsets[None, :, None] * across[:, None])
    peak = depth[:, middle - 1 : middle + 2].max(axis=1)
    inside = connected(depth > 0.5 * peak[:, None], np.full(len(line), middle))
    weight = np.where(inside, np.maximum(depth - 0.5 * peak[:, None], 0), 0.0)
    off = (weight * offsets).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-6)
    return smooth(line + np.clip(off, -1, 1)[:, None] * across, spread=2.0)


def beyond_others(line: Points, others: list[Points], body: Body) -> tuple[Points, bool]:
    """The longest part of a branch outside the openings of other lines.

    Where it stands clear of them by its own half width, its middle is its own; a spur that
    never does is taken from where its middle leaves them. The second value says that the
    branch comes back to another line at its end.
    """
    away, nearest = cKDTree(np.vstack(others)).query(line)
    beyond = away - np.concatenate([body.own_half_px(x) for x in others])[nearest]
    spur = SPUR_MM * body.px_per_mm
    for least in (body.half_px(line), 0.0):
        outside = beyond > least
        first, last = max(runs_of_true(outside), key=lambda t: t[1] - t[0], default=(0, 0))
        if last - first >= 4 and run_of(line[first:last])[-1] >= spur:
            return line[first:last], bool(last < len(line))
    return line[:0], False
