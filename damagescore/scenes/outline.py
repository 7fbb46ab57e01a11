"""The silhouette of a laminate: how far each layer stands beyond the shim edges."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.laminate import Laminate
from damagescore.scenes.noise import line_noise
from damagescore.scenes.spec import SceneSpec

Line = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """Outline z(v) in the silhouette plane and the line through the shim edges.

    Parameters
    ----------
    v_mm, z_mm : ndarray, shape (N,)
        Rising heights, and the outermost place there; z is outward.
    shim_edges_mm : ndarray, shape (K, 2)
        (v, z) at the middle of each shim.
    slope, offset_mm : float
        Least-squares line z = slope v + offset through the shim edges.
    """

    v_mm: Line
    z_mm: Line
    shim_edges_mm: Line
    slope: float
    offset_mm: float

    def at(self, v_mm: Line | float) -> Line:
        """Outermost place at a height."""
        return np.asarray(np.interp(v_mm, self.v_mm, self.z_mm))

    def beyond_line(self) -> Line:
        """Distance of every outline point outward from the shim edge line."""
        line = self.slope * self.v_mm + self.offset_mm
        return np.asarray((self.z_mm - line) / np.hypot(1.0, self.slope))


def _layer_profile(rng: np.random.Generator, u: Line, peak_mm: float) -> Line:
    """Parabola-like bulge over 0..1 whose largest value is exactly `peak_mm`, a bit skew."""
    skew = u ** rng.uniform(0.85, 1.18)
    shape = 1 - np.abs(2 * skew - 1) ** rng.uniform(1.8, 2.8)
    return np.asarray(peak_mm * shape / max(float(shape.max()), 1e-9))


def build_outline(spec: SceneSpec, laminate: Laminate, rng: np.random.Generator) -> Outline:
    """Draw the silhouette: plates set back, shims in line, rubber with its bulges."""
    below, above = spec.stack.plate_below_mm, spec.stack.plate_above_mm
    height = laminate.height_mm
    v = np.arange(-below - 1, height + above + 1, 0.01)
    lean = rng.uniform(-0.002, 0.002)
    setback = np.where(v < height / 2, rng.uniform(-0.5, 0.2), rng.uniform(-0.5, 0.2))
    z = setback + 0.004 * line_noise(rng, len(v), scale=60)
    designed = {bulge.layer: bulge.peak_mm for bulge in spec.bulges}
    lows = [float(laminate.bounds_mm(k, 0.0)[0]) for k in range(laminate.count)]
    highs = [float(laminate.bounds_mm(k, 0.0)[1]) for k in range(laminate.count)]
    edges = []
    for layer in range(laminate.count):
        rows = (v >= lows[layer]) & (v < highs[layer])
        base = lean * v[rows] + rng.normal(0, 0.018)
        if laminate.is_rubber(layer):
            u = (v[rows] - lows[layer]) / (highs[layer] - lows[layer])
            peak = designed.get(layer, rng.uniform(-0.05, 0.03))
            rough = 0.006 * line_noise(rng, len(u), scale=14)
            z[rows] = base + _layer_profile(rng, u, peak) + rough
        else:
            z[rows] = base + 0.002 * line_noise(rng, int(rows.sum()), scale=10)
            middle = (lows[layer] + highs[layer]) / 2
            edges.append([middle, float(z[rows].mean())])
    top = v > height + above - 0.6
    z[top] -= v[top] - (height + above - 0.6)
    shims = np.array(edges)
    slope, offset = np.polyfit(shims[:, 0], shims[:, 1], 1) if len(shims) > 1 else (0.0, 0.0)
    return Outline(
        v_mm=v, z_mm=z, shim_edges_mm=shims, slope=float(slope), offset_mm=float(offset)
    )


def bulge_truth(
    spec: SceneSpec, laminate: Laminate, outline: Outline
) -> list[dict[str, object]]:
    """Peak and recess of every rubber layer beyond the shim edge line, in mm."""
    designed = {bulge.layer: bulge.peak_mm for bulge in spec.bulges}
    beyond = outline.beyond_line()
    records: list[dict[str, object]] = []
    for layer in range(0, laminate.count, 2):
        low, high = (float(side) for side in laminate.bounds_mm(layer, 0.0))
        rows = np.flatnonzero((outline.v_mm >= low) & (outline.v_mm < high))
        top = rows[np.argmax(beyond[rows])]
        area = float(np.clip(beyond[rows], 0, None).sum() * 0.01)
        records.append(
            {
                "layer": layer,
                "designed_peak_mm": designed.get(layer),
                "peak_mm": round(float(beyond[top]), 4),
                "peak_v_mm": round(float(outline.v_mm[top]), 3),
                "recess_mm": round(float(-beyond[rows].min()), 4),
                "mean_mm": round(float(beyond[rows].mean()), 4),
                "protruded_area_mm2": round(area, 3),
                "peak_zv_mm": [float(outline.z_mm[top]), float(outline.v_mm[top])],
                "is_bulge": designed.get(layer, 0.0) > 0,
            }
        )
    return records
