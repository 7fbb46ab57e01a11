"""The family of growth curves: straight, exponential, and between or beyond the two.

Growth in proportion to a power of the size, dy/dt = c·y^(1 - p), is a straight line in
y^p (Box and Cox 1964): p = 1 is linear growth, p = 0 exponential growth, p < 0 the
shape of crack growth by the law of Paris and Erdogan, which ends at a finite time (the
path of Meeker and Escobar 1998, example 13.2, with p = -theta_1), and p > 1 growth that
slows down. Every curve is told by its values at two times, which the data hold well.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEAST_BASE = 1e-9
"""Keeps a curve finite past the time at which its law ends."""

NEAR_ZERO = 1e-6
"""Powers nearer to 0 than this are the logarithm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """One growth curve.

    Parameters
    ----------
    first, last : float
        Two times.
    y_first, y_last : float
        Values there; above 0 unless the power is 1.
    power : float
    """

    first: float
    last: float
    y_first: float
    y_last: float
    power: float

    def at(self, use: Array | float) -> Array:
        """Values at times."""
        share = (np.asarray(use, np.float64) - self.first) / (self.last - self.first)
        ends = bent(np.array([self.y_first, self.y_last]), self.power)
        return unbent(ends[0] + (ends[1] - ends[0]) * share, self.power)

    def when(self, value: float) -> float | None:
        """Time at which the curve has a value; None where it never has."""
        if self.power != 1 and value <= 0:
            return None
        ends = bent(np.array([self.y_first, self.y_last, value]), self.power)
        if ends[0] == ends[1]:
            return None
        share = (ends[2] - ends[0]) / (ends[1] - ends[0])
        return float(self.first + share * (self.last - self.first))


def bent(values: Array, power: float) -> Array:
    """Values on the scale on which the curve of a power is straight; it keeps the order."""
    if power == 1:
        return values
    if abs(power) < NEAR_ZERO:
        return np.asarray(np.log(values))
    return np.asarray((values**power - 1) / power)


def unbent(values: Array, power: float) -> Array:
    """Undo `bent`; past the end of a law a very large or small value."""
    if power == 1:
        return values
    if abs(power) < NEAR_ZERO:
        return np.asarray(np.exp(np.clip(values, -700, 700)))
    return np.asarray(np.maximum(1 + power * values, LEAST_BASE) ** (1 / power))


def slope(values: Array, power: float) -> Array:
    """Derivative of `bent`."""
    return np.ones_like(values) if power == 1 else np.asarray(values ** (power - 1))
