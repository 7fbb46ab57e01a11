"""The layers: rubber and shims in turn, with bond lines that wander a little."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layup:
    """`lines_mm`, shape (layers + 1, N): height v of every bond line at each `s_mm`.

    Layers count from the bottom; even ones are rubber.
    """

    s_mm: Points
    lines_mm: Points
    radius_mm: float | None

    @property
    def count(self) -> int:
        return len(self.lines_mm) - 1

    @property
    def height_mm(self) -> float:
        return float(self.lines_mm[-1].mean())

    def bounds(self, layer: int, s_mm: Points) -> tuple[Points, Points]:
        """Lower and upper line of a layer at given s."""
        low, high = self.lines_mm[layer], self.lines_mm[layer + 1]
        return np.interp(s_mm, self.s_mm, low), np.interp(s_mm, self.s_mm, high)

    def thickness_mm(self, layer: int) -> float:
        return float(np.mean(self.lines_mm[layer + 1] - self.lines_mm[layer]))


def lay_up(
    thicknesses_mm: list[float], *, span_mm: tuple[float, float], radius_mm: float | None,
    wander_mm: float, rng: np.random.Generator,
) -> Layup:  # fmt: skip
    """Stack layers; a shim is stiff, so both its lines wander together."""
    s = np.arange(span_mm[0], span_mm[1] + 0.25, 0.25)
    lines = np.cumsum([0.0, *thicknesses_mm])[:, None] + np.zeros_like(s)
    for shim in range(1, len(thicknesses_mm), 2):
        sway = gaussian_filter1d(rng.normal(size=len(s)), 30, mode="wrap")
        sway *= wander_mm / max(float(np.abs(sway).max()), 1e-9)
        fray = gaussian_filter1d(rng.normal(size=(2, len(s))), 2, axis=1) * 0.012
        lines[shim : shim + 2] += sway + fray
    return Layup(s_mm=s, lines_mm=lines, radius_mm=radius_mm)
