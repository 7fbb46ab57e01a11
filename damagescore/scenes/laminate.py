"""The laminate in its own coordinates: where each layer lies and how its lines wave."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.noise import line_noise
from damagescore.scenes.spec import StackSpec

Line = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Sampling of the surface: column j is at s0 + j pitch, row i at v0 - i pitch (mm)."""

    s0_mm: float
    v0_mm: float
    pitch_mm: float
    shape: tuple[int, int]

    @property
    def s_mm(self) -> Line:
        return np.asarray(self.s0_mm + self.pitch_mm * np.arange(self.shape[1]))

    @property
    def v_mm(self) -> Line:
        return np.asarray(self.v0_mm - self.pitch_mm * np.arange(self.shape[0]))

    def column(self, s_mm: Line | float) -> Line:
        """Fractional column of a place along the layers."""
        return np.asarray((np.asarray(s_mm) - self.s0_mm) / self.pitch_mm)

    def row(self, v_mm: Line | float) -> Line:
        """Fractional row of a height."""
        return np.asarray((self.v0_mm - np.asarray(v_mm)) / self.pitch_mm)

    def rows_between(self, low_mm: float, high_mm: float) -> slice:
        """Rows whose height lies between, clipped to the grid."""
        first = int(np.floor(self.row(high_mm)))
        last = int(np.ceil(self.row(low_mm))) + 1
        return slice(max(0, first), max(0, min(self.shape[0], last)))

    def window(self, low_mm: Line, high_mm: Line) -> "tuple[tuple[slice, slice], Grid] | None":
        """Slices and grid of the part between two (s, v) corners, or None outside."""
        c0 = max(0, int(np.floor(self.column(low_mm[0]))))
        c1 = min(self.shape[1], int(np.ceil(self.column(high_mm[0]))) + 1)
        rows = self.rows_between(float(low_mm[1]), float(high_mm[1]))
        if c1 - c0 < 2 or rows.stop - rows.start < 2:
            return None
        part = Grid(
            s0_mm=self.s0_mm + c0 * self.pitch_mm,
            v0_mm=self.v0_mm - rows.start * self.pitch_mm,
            pitch_mm=self.pitch_mm,
            shape=(rows.stop - rows.start, c1 - c0),
        )
        return (rows, slice(c0, c1)), part


@dataclass(frozen=True, slots=True, kw_only=True)
class Laminate:
    """Interfaces of the stack.

    Parameters
    ----------
    s_mm : ndarray, shape (M,)
        Where the interfaces are sampled.
    interfaces_mm : ndarray, shape (L + 1, M)
        Heights of the lower face of layer 0, ..., the upper face of layer L - 1.
    """

    s_mm: Line
    interfaces_mm: NDArray[np.float64]

    @property
    def count(self) -> int:
        """Number of layers, rubber and shims."""
        return len(self.interfaces_mm) - 1

    @property
    def height_mm(self) -> float:
        """Mean height of the stack."""
        return float(self.interfaces_mm[-1].mean())

    def is_rubber(self, layer: int) -> bool:
        return layer % 2 == 0

    def bounds_mm(self, layer: int, s_mm: Line | float) -> tuple[Line, Line]:
        """Heights of the lower and upper line of a layer at `s_mm`."""
        low = np.interp(s_mm, self.s_mm, self.interfaces_mm[layer])
        high = np.interp(s_mm, self.s_mm, self.interfaces_mm[layer + 1])
        return np.asarray(low), np.asarray(high)

    def thickness_mm(self, layer: int) -> float:
        """Mean thickness of a layer."""
        rows = self.interfaces_mm
        return float((rows[layer + 1] - rows[layer]).mean())


def nominal_height_mm(stack: StackSpec) -> float:
    """Height of the stack before its layers are varied."""
    n = stack.rubber_layers
    return n * stack.rubber_mm + (n - 1) * stack.shim_mm


def build_laminate(
    stack: StackSpec, s_range_mm: tuple[float, float], rng: np.random.Generator
) -> Laminate:
    """Draw thicknesses and wavy lines; v = 0 is the lower line of the lowest rubber layer."""
    n_layers = 2 * stack.rubber_layers - 1
    thickness = np.where(np.arange(n_layers) % 2 == 0, stack.rubber_mm, stack.shim_mm)
    spread = np.where(np.arange(n_layers) % 2 == 0, stack.jitter, 0.02)
    thickness = thickness * (1 + spread * rng.uniform(-1, 1, n_layers))
    levels = np.concatenate([[0.0], np.cumsum(thickness)])
    s = np.arange(s_range_mm[0], s_range_mm[1] + 0.25, 0.25)
    rows = []
    shared = stack.waviness_mm * line_noise(rng, len(s), scale=80)
    for level in levels:
        # a shim bends as one sheet: most of the wave is common, little is each line's own
        own = 0.25 * stack.waviness_mm * line_noise(rng, len(s), scale=24)
        rows.append(level + shared + own)
    return Laminate(s_mm=s, interfaces_mm=np.array(rows))
