"""Graduated rules: the row of dark ticks, counted and located below a pixel."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from damagescore.errors import ScaleError
from damagescore.scale.camera import Camera
from damagescore.scale.pose import Pose
from damagescore.scale.profile import linear_light, sample
from damagescore.scale.rule_ends import EndLine, end_line
from damagescore.scale.rule_pose import pose_of_rule
from damagescore.scale.spread import Spread

Points = NDArray[np.float64]

FEWEST_TICKS = 8

MOST_MISSED = 10
"""Graduations in a row that may be covered or lost in what lies behind the rule."""

# Prior of the perspective across the rule, per rule length: tan(15 deg) at a stand of
# four rule lengths.
ACROSS_PRIOR = 0.07


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleFit:
    """A rule in the photo.

    `pose` maps its plane and `spread` is the uncertainty of that, `length_mm` reaches from
    the first tick to the last, `ends_px` their base ends, `ticks` how many carried the fit.
    """

    pose: Pose
    spread: Spread
    residual_px: float
    length_mm: float
    ends_px: Points
    ticks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """Ticks whose base ends lie on one line: `base` point, unit vectors, tick table."""

    base: Points
    along: Points
    across: Points
    at_px: NDArray[np.float64]
    length_px: NDArray[np.float64]


def find_rule(
    grey: NDArray[np.float32],
    *,
    pitch_mm: float,
    camera: Camera,
    view: str = "face",
) -> RuleFit:
    """Find the ticks of a rule and fit the map of its plane.

    Parameters
    ----------
    grey : ndarray, shape (H, W)
        Stored grey levels, 0 to 255.
    pitch_mm : float
        From one graduation to the next.
    camera : Camera
    view : "face" or "profile"

    Raises
    ------
    ScaleError
        When no row of at least eight evenly spaced ticks is seen.
    """
    row = _best_row(grey)
    if row is None:
        raise ScaleError(
            "No row of rule graduations was found in the photo.",
            remedy="Show at least 10 graduations, sharp and unshaded, or use another mark.",
        )
    numbers = _numbered(row)
    light = linear_light(grey)
    s, t, n = _tick_points(light, row, numbers)
    return _fitted(light, row, s, t, n * pitch_mm, camera=camera, view=view)


def _best_row(grey: NDArray[np.float32]) -> _Row | None:
    factor = min(1.0, 2400 / max(grey.shape))
    size = (round(grey.shape[1] * factor), round(grey.shape[0] * factor))
    small = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.float32)
    best: tuple[float, _Row] | None = None
    for kernel in (9, 15, 25):
        row = _row_of(_bars(small, kernel))
        if row is not None:
            score = len(row.at_px) * math.sqrt(float(np.median(row.length_px)))
            if best is None or score > best[0]:
                best = (score, row)
    if best is None:
        return None
    row, ratio = best[1], np.array([grey.shape[1] / size[0], grey.shape[0] / size[1]])
    zoom = float(np.mean(ratio))
    return _Row(
        base=(row.base + 0.5) * ratio - 0.5, along=row.along, across=row.across,
        at_px=row.at_px * zoom, length_px=row.length_px * zoom,
    )  # fmt: skip


def _bars(small: NDArray[np.float32], kernel: int) -> NDArray[np.float64]:
    """Thin dark bars as rows (x0, y0, x1, y1): the two ends of each."""
    element = cv2.getStructuringElement(cv2.MORPH_RECT, (kernel, kernel))
    hat = cv2.morphologyEx(small, cv2.MORPH_BLACKHAT, element)
    level = max(12.0, 0.35 * float(np.percentile(hat, 99.5)))
    count, labels, stats, _ = cv2.connectedComponentsWithStats((hat > level).astype(np.uint8))
    bars = []
    for i in range(1, count):
        x, y, w, h, area = stats[i]
        if area < 20 or max(w, h) < 10 or max(w, h) > 0.3 * max(small.shape):
            continue
        ys, xs = np.nonzero(labels[y : y + h, x : x + w] == i)
        bar = _bar(np.column_stack([xs + x, ys + y]).astype(np.float64), kernel)
        if bar is not None:
            bars.append(bar)
    return np.array(bars).reshape(-1, 4)


def _bar(points: Points, kernel: int) -> Points | None:
    centre = points.mean(axis=0)
    values, vectors = np.linalg.eigh(np.cov((points - centre).T))
    width, length = np.sqrt(12 * np.maximum(values, 0.05))
    if length < 3.5 * width or width > kernel or len(points) < 0.6 * width * length:
        return None
    along = (points - centre) @ vectors[:, 1]
    return np.concatenate(
        [centre + vectors[:, 1] * along.min(), centre + vectors[:, 1] * along.max()]
    )


def _row_of(bars: NDArray[np.float64]) -> _Row | None:
    """The largest set of like-directed bars with one end on a common line."""
    if len(bars) < FEWEST_TICKS:
        return None
    step = bars[:, 2:] - bars[:, :2]
    angle = np.arctan2(step[:, 1], step[:, 0]) % math.pi
    best: _Row | None = None
    for centre in np.arange(0, math.pi, math.radians(6)):
        away = np.abs((angle - centre + math.pi / 2) % math.pi - math.pi / 2)
        group = bars[away < math.radians(8)]
        if len(group) < FEWEST_TICKS:
            continue
        tick = np.array([math.cos(centre), math.sin(centre)])
        flip = (group[:, 2:] - group[:, :2]) @ tick < 0
        first = np.where(flip[:, None], group[:, 2:], group[:, :2])
        last = np.where(flip[:, None], group[:, :2], group[:, 2:])
        for near, far in ((first, last), (last, first)):
            row = _aligned(near, far)
            if row is not None and (best is None or len(row.at_px) > len(best.at_px)):
                best = row
    return best


def _aligned(near: Points, far: Points) -> _Row | None:
    """Largest set of ticks whose near ends lie within 2.5 px of one line across them."""
    tick = np.median(far - near, axis=0)
    tick = tick / np.hypot(*tick)
    inside = _consensus(near, tick)
    if inside is None or inside.sum() < FEWEST_TICKS:
        return None
    base = near[inside].mean(axis=0)
    along = np.linalg.eigh(np.cov((near[inside] - base).T))[1][:, 1]
    along = along if along[np.argmax(np.abs(along))] > 0 else -along
    across = np.array([-along[1], along[0]])
    across = across if across @ tick > 0 else -across
    at = (near[inside] - base) @ along
    order = np.argsort(at)
    length = np.hypot(*(far[inside] - near[inside]).T)[order]
    return _evenly(
        _Row(base=base, along=along, across=across, at_px=at[order], length_px=length)
    )


def _consensus(near: Points, tick: Points) -> NDArray[np.bool_] | None:
    """The ends that lie on the line, through two of them, which most lie on."""
    best: NDArray[np.bool_] | None = None
    for i in range(len(near) - 1):
        lines = near[i + 1 :] - near[i]
        reach = np.hypot(*lines.T)
        fit = (reach >= 30) & (np.abs(lines @ tick) <= 0.35 * reach)
        if not fit.any():
            continue
        normals = np.column_stack([-lines[fit, 1], lines[fit, 0]]) / reach[fit, None]
        inside = np.abs(normals @ (near - near[i]).T) < 2.5
        most = inside[int(np.argmax(inside.sum(axis=1)))]
        if best is None or most.sum() > best.sum():
            best = most
    return best


def _evenly(row: _Row) -> _Row | None:
    """Keep the longest run of ticks whose gaps are multiples of one slowly changing pitch."""
    gaps = np.diff(row.at_px)
    if len(gaps) < FEWEST_TICKS - 1:
        return None
    pitch = _pitches(row.at_px)
    # spurious bars come as short gaps; a row of real ticks has most gaps near one pitch
    regular = np.abs(gaps / pitch - np.round(gaps / pitch)) < 0.22
    regular &= (gaps > 0.6 * pitch) & (gaps < (MOST_MISSED + 1.5) * pitch)
    if pitch.min() < 5 or np.mean(np.abs(gaps / pitch - 1) < 0.2) < 0.5:
        return None
    runs = np.split(np.arange(len(row.at_px)), np.nonzero(~regular)[0] + 1)
    run = max(runs, key=len)
    if len(run) < FEWEST_TICKS:
        return None
    return _Row(
        base=row.base, along=row.along, across=row.across,
        at_px=row.at_px[run], length_px=row.length_px[run],
    )  # fmt: skip


def _pitches(at_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """Pitch at each gap between ticks; it changes slowly along a tilted rule."""
    gaps, middles = np.diff(at_px), (at_px[1:] + at_px[:-1]) / 2
    usual = float(np.median(gaps))
    single = np.abs(gaps / usual - 1) < 0.4
    if single.sum() < FEWEST_TICKS - 2:
        return np.full(len(gaps), usual)
    even = median_filter(gaps[single], size=5, mode="nearest")
    return np.asarray(np.interp(middles, middles[single], even))


def _numbered(row: _Row) -> NDArray[np.float64]:
    """Whole number of each tick, 0 for the first."""
    steps = np.maximum(1.0, np.round(np.diff(row.at_px) / _pitches(row.at_px)))
    return np.concatenate([[0.0], np.cumsum(steps)])


def _tick_points(
    light: NDArray[np.float32], row: _Row, numbers: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Sub-pixel centres of every tick on several lines along the rule: s, t, number."""
    pitch = float(np.median(np.diff(row.at_px) / np.diff(numbers)))
    short = float(np.percentile(row.length_px, 20))
    lines = np.linspace(0.2, 0.8, max(3, min(25, int(short / 2)))) * short
    reach, step = 0.42 * pitch, 0.25
    offsets = np.arange(-reach, reach + step / 2, step)
    s = np.repeat(row.at_px[:, None], len(lines), axis=1)
    t = np.repeat(lines[None, :], len(row.at_px), axis=0)
    for _ in range(2):
        at = s[..., None] + offsets
        points = row.base + at[..., None] * row.along + t[..., None, None] * row.across
        values = sample(light, points)
        paper = np.percentile(values, 80, axis=-1, keepdims=True)
        dark = np.clip(paper - values, 0, None)
        dark = np.where(dark > 0.3 * dark.max(axis=-1, keepdims=True), dark, 0)
        weight = dark.sum(axis=-1)
        shift = (dark * offsets).sum(axis=-1) / np.maximum(weight, 1e-9)
        s = s + np.clip(shift, -reach, reach)
    n = np.repeat(numbers[:, None], len(lines), axis=1)
    clear = dark.max(axis=-1) > 0.3 * float(np.median(dark.max(axis=-1)))
    return s[clear], t[clear], n[clear]


def _clear_points(s: Points, t: Points, x_mm: Points) -> tuple[NDArray[np.bool_], float]:
    """Which tick points fit x (1 + g s + h t) = a s + k t + b, and their spread in px.

    Ticks are straight and square to the rule's edge; their convergence gives the
    perspective across the rule.
    """
    span = float(np.ptp(s))
    a0 = float(np.ptp(x_mm)) / span
    keep = np.ones(len(s), dtype=bool)
    spread = math.inf
    for _ in range(3):
        rows = np.column_stack([s, t, np.ones_like(s), -s * x_mm, -t * x_mm])[keep]
        prior = np.array([[0, 0, 0, 0, span * a0 * span / ACROSS_PRIOR * 0.003]])
        got, *_ = np.linalg.lstsq(
            np.vstack([rows, prior]), np.append(x_mm[keep], 0.0), rcond=None
        )
        a, k, b, g, h = got
        misfit = ((a * s + k * t + b) / (1 + g * s + h * t) - x_mm) / a0
        spread = 1.4826 * float(np.median(np.abs(misfit[keep])))
        keep = np.abs(misfit) < max(4 * spread, 0.3)
    return keep, spread


def _end_line(
    light: NDArray[np.float32], row: _Row, s: Points, t: Points, x_mm: Points, *,
    camera: Camera,
) -> EndLine:  # fmt: skip
    each = [x_mm == x for x in np.unique(x_mm)]
    return end_line(
        light, base=row.base, along=row.along, across=row.across,
        ticks=[(s[i], t[i]) for i in each if i.sum() > 2], ideal=camera.ideal,
        pitch_px=float(np.median(np.diff(row.at_px))),
        short_px=float(np.percentile(row.length_px, 20)),
    )  # fmt: skip


def _fitted(
    light: NDArray[np.float32], row: _Row, s: Points, t: Points, x_mm: Points, *,
    camera: Camera, view: str,
) -> RuleFit:  # fmt: skip
    keep, spread = _clear_points(s, t, x_mm)
    ticks = len(np.unique(x_mm[keep]))
    if ticks < FEWEST_TICKS or spread > 0.8:
        raise ScaleError(
            f"The rule's graduations do not fit an even row: {ticks} ticks, "
            f"{spread:.2f} px apart from it.",
            remedy="Take the photo squarer and sharper, or use another mark.",
        )
    points = row.base + s[keep, None] * row.along + t[keep, None] * row.across
    ends = np.array([row.base + p * row.along for p in (row.at_px[0], row.at_px[-1])])
    lines = _end_line(light, row, s[keep], t[keep], x_mm[keep], camera=camera)
    fit = pose_of_rule(
        camera.ideal(points), x_mm[keep], end_line=lines, camera=camera, view=view
    )
    return RuleFit(
        pose=fit.pose, spread=fit.spread, residual_px=fit.residual_px,
        length_mm=float(np.ptp(x_mm)), ends_px=ends, ticks=ticks,
    )  # fmt: skip
