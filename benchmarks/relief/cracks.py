"""Fractures: paths by displacing midpoints, openings that taper, branches that turn off."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from benchmarks.relief.layup import Layup

Points = NDArray[np.float64]

NARROWEST_MM = 0.04
STEP_MM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """One run: centre line `points_mm` (N, 2) as (s, v), and its full width at each point."""

    points_mm: Points
    widths_mm: Points

    @property
    def length_mm(self) -> float:
        return float(np.sum(np.hypot(*np.diff(self.points_mm, axis=0).T)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fracture:
    """A crack or bond gap: its main run, then branches that start on an earlier run."""

    kind: str
    layer: int
    runs: tuple[Opening, ...]

    @property
    def length_mm(self) -> float:
        return sum(run.length_mm for run in self.runs)


def _midpoints(
    chord: Points, unevenness: float, reach_mm: float, rng: np.random.Generator
) -> Points:
    """Displace midpoints across until pieces are 0.35 mm, then cut the corners twice.

    A piece longer than `reach_mm` is displaced no farther than one of that length.
    """
    path = chord
    while math.dist(path[0], path[1]) > 0.35 and len(path) < 2000:
        middle = (path[:-1] + path[1:]) / 2
        across = (path[1:] - path[:-1]) @ np.array([[0.0, 1.0], [-1.0, 0.0]])
        size = np.hypot(*across.T)[:, None]
        across *= np.minimum(size, reach_mm) / size
        middle += across * rng.normal(0, unevenness, (len(middle), 1)).clip(-0.35, 0.35)
        path = np.insert(path, np.arange(1, len(path)), middle, axis=0)
    for _ in range(2):
        cut = np.stack(
            [0.75 * path[:-1] + 0.25 * path[1:], 0.25 * path[:-1] + 0.75 * path[1:]], 1
        )
        path = np.vstack([path[:1], cut.reshape(-1, 2), path[-1:]])
    return path


def _even(path: Points) -> Points:
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.linspace(0, along[-1], max(3, round(along[-1] / STEP_MM) + 1))
    return np.column_stack([np.interp(at, along, p) for p in path.T])


def _within(path: Points, layer: int, layup: Layup) -> Points:
    """Press a path softly into its layer, clear of both bond lines."""
    low, high = layup.bounds(layer, path[:, 0])
    middle, reach = (low + high) / 2, (high - low) / 2 * 0.8
    v = middle + reach * np.tanh((path[:, 1] - middle) / reach)
    return np.column_stack([path[:, 0], v])


def _widths(
    count: int, widest_mm: float, rng: np.random.Generator, *, open_start: bool
) -> Points:
    """Taper to the narrowest at the tips (a branch is open where it starts), uneven between."""
    u = np.linspace(0 if not open_start else 0.5, 1, count)
    uneven = gaussian_filter1d(rng.normal(size=count), max(2, count / 25), mode="nearest")
    uneven = 1 + 0.3 * uneven / max(float(np.abs(uneven).max()), 1e-9)
    taper = np.clip(4 * u * (1 - u), 0, 1) ** 0.6 * uneven
    return np.maximum(NARROWEST_MM, widest_mm * taper / max(float(taper.max()), 1e-9))


def crack(
    layup: Layup, *, layer: int, start_mm: Points, length_mm: float, angle_deg: float,
    widest_mm: float, branches: int, rng: np.random.Generator,
) -> Fracture:  # fmt: skip
    """A crack inside one rubber layer, with branches that leave at 25 to 60 degrees."""
    turn = math.radians(angle_deg)
    chord = np.array(
        [start_mm, start_mm + length_mm * np.array([math.cos(turn), math.sin(turn)])]
    )
    path = _even(
        _within(
            _midpoints(chord, rng.uniform(0.07, 0.14), 1.5 * layup.thickness_mm(layer), rng),
            layer,
            layup,
        )
    )
    main = Opening(
        points_mm=path, widths_mm=_widths(len(path), widest_mm, rng, open_start=False)
    )
    runs = [main]
    for _ in range(8 * branches):
        if len(runs) > branches:
            break
        side = _branch(main, layer, layup, rng)
        if side is not None and _stands_clear(side, runs):
            runs.append(side)
    return Fracture(kind="mid_layer", layer=layer, runs=tuple(runs))


def _branch(
    main: Opening, layer: int, layup: Layup, rng: np.random.Generator
) -> Opening | None:
    at = int(rng.uniform(0.2, 0.8) * len(main.points_mm))
    before, after = max(0, at - 8), min(len(main.points_mm) - 1, at + 8)
    along = main.points_mm[after] - main.points_mm[before]
    turn = math.atan2(along[1], along[0]) + math.radians(rng.uniform(25, 60)) * rng.choice(
        [-1, 1]
    )
    length = rng.uniform(0.15, 0.35) * main.length_mm
    start = main.points_mm[at]
    chord = np.array([start, start + length * np.array([math.cos(turn), math.sin(turn)])])
    path = _even(_within(_midpoints(chord, 0.1, length, rng), layer, layup))
    path[0] = start  # the soft press moves it by micrometres
    if math.dist(path[0], path[-1]) < 0.6:
        return None
    widest = max(NARROWEST_MM, float(main.widths_mm[at]) * rng.uniform(0.5, 0.75))
    return Opening(points_mm=path, widths_mm=_widths(len(path), widest, rng, open_start=True))


def _stands_clear(side: Opening, runs: list[Opening]) -> bool:
    """Whether a branch leaves its parent for good: soon it stays 0.15 mm clear of it."""
    nodes = np.vstack([run.points_mm for run in runs])
    half = np.concatenate([run.widths_mm for run in runs]) / 2
    far, nearest = cKDTree(nodes).query(side.points_mm)
    gap = far - half[nearest] - side.widths_mm / 2
    first = int(np.argmax(gap > 0))
    short = first * STEP_MM < 3.5 * half.max() + 0.15
    later = first + round(0.5 / STEP_MM)
    leaves = (gap > 0).any() and (gap[first:] > 0).all()
    return bool(leaves and (gap[later:] > 0.15).all() and short)


def bond_gap(
    layup: Layup, *, layer: int, upper: bool, start_mm: float, length_mm: float,
    widest_mm: float, rng: np.random.Generator,
) -> Fracture:  # fmt: skip
    """A notch that runs along the bond line of a rubber layer and fades at both ends."""
    s = np.linspace(start_mm, start_mm + length_mm, round(length_mm / STEP_MM) + 1)
    low, high = layup.bounds(layer, s)
    widths = _widths(len(s), widest_mm, rng, open_start=False)
    v = high - widths / 2 if upper else low + widths / 2
    v = gaussian_filter1d(v, 3, mode="nearest")
    run = Opening(points_mm=np.column_stack([s, v]), widths_mm=widths)
    return Fracture(kind="bond_line", layer=layer, runs=(run,))
