"""Cracks and bond gaps as polylines with a width at every node."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from damagescore.runs import runs_of_true
from damagescore.scenes.laminate import Grid, Laminate
from damagescore.scenes.noise import line_noise
from damagescore.scenes.spec import CrackSpec

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """One unbranched run: `points_mm` (N, 2) as (s, v), `widths_mm` (N,)."""

    points_mm: Points
    widths_mm: Points

    @property
    def length_mm(self) -> float:
        return float(np.hypot(*np.diff(self.points_mm, axis=0).T).sum())


@dataclass(frozen=True, slots=True, kw_only=True)
class Fracture:
    """A crack or bond gap: its spec and its runs, the longest first.

    `branches` are the runs as cut into the rubber; `seen` are those that a photo can show:
    what lies inside the opening of an earlier run is no opening of its own.
    """

    spec: CrackSpec
    branches: tuple[Branch, ...]
    seen: tuple[Branch, ...]

    @property
    def length_mm(self) -> float:
        """Sum over all runs that can be seen."""
        return sum(branch.length_mm for branch in self.seen)

    @property
    def width_max_mm(self) -> float:
        return max(float(branch.widths_mm.max()) for branch in self.branches)


def _step_mm(length_mm: float) -> float:
    return length_mm / max(12, round(length_mm / 0.1))


def _widths(
    rng: np.random.Generator, count: int, *, peak_mm: float, open_start: bool
) -> Points:
    """Width that swells and wanders, 0.05 mm at the tips; `open_start` begins at full width."""
    u = np.linspace(0, 1, count)
    skew = u ** rng.uniform(0.75, 1.3)
    shape = (1 - u) ** 0.6 if open_start else np.sin(np.pi * skew) ** 0.6
    rough = 1 + 0.22 * line_noise(rng, count, scale=max(4, count / 9))
    rough += 0.13 * line_noise(rng, count, scale=4, octaves=2)
    width = np.clip(shape * np.clip(rough, 0.4, 1.6), 0, None)
    tip = min(0.05, 0.5 * peak_mm)
    return np.asarray(tip + (peak_mm - tip) * width / width.max())


def _keep_inside(v: Points, low: Points, high: Points, margin: float) -> Points:
    """Bend a path softly away from the layer's lines."""
    middle, half = (low + high) / 2, (high - low) / 2 * (1 - margin)
    return np.asarray(middle + half * np.tanh((v - middle) / half))


def _headings(rng: np.random.Generator, count: int, spec: CrackSpec) -> Points:
    """Direction at each step in radians: meander plus kinks that turn away and come back."""
    heading = 0.16 * line_noise(rng, count, scale=max(6, count / 7), octaves=4)
    # torn rubber also zigzags at the scale of its filler
    heading += 0.17 * line_noise(rng, count, scale=5, octaves=2)
    for _ in range(spec.kinks):
        at = int(rng.uniform(0.2, 0.8) * count)
        run = int(rng.uniform(0.02, 0.06) * count) + 2
        turn = np.deg2rad(rng.uniform(25, 55)) * rng.choice([-1, 1])
        heading[at : at + run] += turn
    heading -= heading.mean()
    return np.asarray(heading + np.deg2rad(spec.heading_deg))


def _walk(start: Points, headings: Points, step_mm: float) -> Points:
    steps = step_mm * np.stack([np.cos(headings), np.sin(headings)], axis=1)
    return np.asarray(np.vstack([start, start + np.cumsum(steps, axis=0)]))


def _main_run(spec: CrackSpec, laminate: Laminate, rng: np.random.Generator) -> Branch:
    step = _step_mm(spec.length_mm)
    headings = _headings(rng, round(spec.length_mm / step), spec)
    path = _walk(np.zeros(2), headings, step)
    low, high = laminate.bounds_mm(spec.layer, spec.s_mm)
    middle = low + (high - low) * rng.uniform(0.4, 0.6)
    path += np.array([spec.s_mm, float(middle)]) - (path.min(axis=0) + path.max(axis=0)) / 2
    lows, highs = laminate.bounds_mm(spec.layer, path[:, 0])
    path[:, 1] = _keep_inside(path[:, 1], lows, highs, 0.12)
    widths = _widths(rng, len(path), peak_mm=spec.width_mm, open_start=False)
    return Branch(points_mm=path, widths_mm=widths)


def _side_run(
    main: Branch, spec: CrackSpec, laminate: Laminate, rng: np.random.Generator
) -> Branch:
    count = len(main.points_mm)
    at = int(rng.uniform(0.35, 0.7) * count)
    length = spec.length_mm * rng.uniform(0.18, 0.35)
    step = _step_mm(length)
    along = main.points_mm[min(at + 3, count - 1)] - main.points_mm[max(at - 3, 0)]
    fork = np.deg2rad(rng.uniform(22, 45)) * rng.choice([-1, 1])
    steps = round(length / step)
    fading = fork * np.exp(-np.linspace(0, 2.2, steps))
    headings = np.arctan2(along[1], along[0]) + fading
    headings += 0.15 * line_noise(rng, steps, scale=max(5, steps / 5))
    path = _walk(main.points_mm[at], headings, step)
    low, high = laminate.bounds_mm(spec.layer, path[:, 0])
    kept = _keep_inside(path[:, 1], low, high, 0.06)
    # the run must start on its parent, which was bent by the same rule already
    fade = np.linspace(0, 1, len(path)) ** 0.5
    path[:, 1] = path[:, 1] + fade * (kept - path[:, 1])
    path[:, 1] = np.clip(path[:, 1], low + 0.05, high - 0.05)
    peak = min(0.75 * main.widths_mm[at], 0.7 * spec.width_mm)
    widths = _widths(rng, len(path), peak_mm=max(peak, 0.06), open_start=True)
    return Branch(points_mm=path, widths_mm=widths)


def _bond_run(spec: CrackSpec, laminate: Laminate, rng: np.random.Generator) -> Branch:
    """A gap inside the rubber that follows the line of its shim."""
    count = max(12, round(spec.length_mm / 0.1))
    s = spec.s_mm + np.linspace(-0.5, 0.5, count + 1) * spec.length_mm
    low, high = laminate.bounds_mm(spec.layer, s)
    widths = _widths(rng, len(s), peak_mm=spec.width_mm, open_start=False)
    drift = 0.02 + 0.05 * np.abs(line_noise(rng, len(s), scale=max(6, count / 6)))
    inset = np.minimum(widths / 2 + drift, 0.3)
    v = high - inset if spec.at_top else low + inset
    return Branch(points_mm=np.stack([s, v], axis=1), widths_mm=widths)


def grow_fracture(spec: CrackSpec, laminate: Laminate, rng: np.random.Generator) -> Fracture:
    """Draw the path of one crack or bond gap inside its rubber layer."""
    if spec.kind == "bond_line":
        runs = (_opened(_bond_run(spec, laminate, rng), spec.grown),)
        return Fracture(spec=spec, branches=runs, seen=runs)
    main = _main_run(spec, laminate, rng)
    sides = [_side_run(main, spec, laminate, rng) for _ in range(spec.branches)]
    if spec.grown < 1:
        main = _opened(main, spec.grown)
        sides = []
    seen = [main]
    for side in sides:
        seen += outside(side, seen)
    return Fracture(spec=spec, branches=(main, *sides), seen=tuple(seen))


def _opened(run: Branch, grown: float) -> Branch:
    """The share of a run about its middle that is open, narrower while it is short."""
    if grown >= 1:
        return run
    count = len(run.points_mm)
    half = max(grown * (count - 1) / 2, 1.0)
    middle = (count - 1) / 2
    at = np.linspace(middle - half, middle + half, max(round(2 * half), 4) + 1)
    known = np.arange(count)
    points = np.stack([np.interp(at, known, run.points_mm[:, i]) for i in (0, 1)], axis=1)
    # It closes towards its new tips as the whole run does towards its own.
    taper = np.sin(np.pi * np.linspace(0, 1, len(at))) ** 0.6
    widths = np.interp(at, known, run.widths_mm) * np.sqrt(grown) * np.clip(taper, 0, 1)
    return Branch(points_mm=points, widths_mm=np.maximum(widths, min(0.05, widths.max())))


def outside(side: Branch, earlier: list[Branch]) -> list[Branch]:
    """Cut a side run to the stretches outside all earlier openings.

    Each stretch reaches to the centre line of the opening that it leaves or enters. One
    that never stands clear by its own half width only widens its neighbour, and is left out.
    """
    nodes = np.vstack([run.points_mm for run in earlier])
    half = np.concatenate([run.widths_mm for run in earlier]) / 2
    tree = cKDTree(nodes)
    far, nearest = tree.query(side.points_mm)
    beyond = far - half[nearest]
    stretches = []
    for first, last in runs_of_true(beyond > 0):
        if np.all(beyond[first:last] <= side.widths_mm[first:last] / 2):
            continue
        points, widths = side.points_mm[first:last], side.widths_mm[first:last]
        if first > 0:
            points = np.vstack([nodes[nearest[first]], points])
            widths = np.concatenate([widths[:1], widths])
        if last < len(far):
            points = np.vstack([points, nodes[nearest[last - 1]]])
            widths = np.concatenate([widths, widths[-1:]])
        stretches.append(Branch(points_mm=points, widths_mm=widths))
    return stretches


def paint_branch(cover: NDArray[np.float32], grid: Grid, branch: Branch) -> None:
    """Raise `cover` to the share of each texel that the run's opening takes (in place).

    The outline is filled at four times the grid and averaged, so that an opening thinner
    than a texel keeps its area.
    """
    fine = 4
    cols, rows = grid.column(branch.points_mm[:, 0]), grid.row(branch.points_mm[:, 1])
    half = branch.widths_mm / (2 * grid.pitch_mm)
    pad = int(np.ceil(half.max())) + 2
    c0, r0 = max(0, int(cols.min()) - pad), max(0, int(rows.min()) - pad)
    c1 = min(grid.shape[1], int(cols.max()) + pad + 1)
    r1 = min(grid.shape[0], int(rows.max()) + pad + 1)
    if c1 <= c0 or r1 <= r0:
        return
    canvas = np.zeros(((r1 - r0) * fine, (c1 - c0) * fine), np.uint8)
    centre = np.stack([(cols - c0 + 0.5) * fine - 0.5, (rows - r0 + 0.5) * fine - 0.5], axis=1)
    _fill_ribbon(canvas, centre, half * fine)
    share = cv2.resize(canvas, (c1 - c0, r1 - r0), interpolation=cv2.INTER_AREA)
    part = cover[r0:r1, c0:c1]
    np.maximum(part, share.astype(np.float32) / 255.0, out=part)


def _fill_ribbon(canvas: NDArray[np.uint8], centre: Points, half: Points) -> None:
    tangent = np.gradient(centre, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) * half[:, None]
    left, right = centre + normal, centre - normal
    for i in range(len(centre) - 1):
        quad = np.stack([left[i], left[i + 1], right[i + 1], right[i]])
        cv2.fillConvexPoly(canvas, np.round(quad * 16).astype(np.int32), 255, cv2.LINE_8, 4)
