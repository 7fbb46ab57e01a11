"""What a layer's peak may be off by as parts of its outline are lost or left out."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from damagescore.quantity import rectangular

Points = NDArray[np.float64]

BOND_MARGIN = 0.06
"""Share of a layer next to each bond that is left out: there the outline turns."""

BOND_ROWS = 3
"""Rows next to each bond that are left out at least: the blurred bond itself."""

JUMP_ROWS, STEEPEST = 3, 4.0
"""Points over which the outline is looked at for jumps, and the steepest flank of rubber."""


def jump_mm(t: Points, out: Points) -> float:
    """How far a layer's outline jumps, mm, where rubber would not: part of it may be lost."""
    apart = np.abs(out[JUMP_ROWS:] - out[:-JUMP_ROWS])
    usual = STEEPEST * np.abs(t[JUMP_ROWS:] - t[:-JUMP_ROWS])
    return float(np.max(apart, initial=0.0, where=apart > usual))


def hidden_mm(points: Points, out: Points) -> float:
    """What a peak may be off by as some rows of a layer are unknown, mm.

    Their share of the layer, of how far its outline ranges.
    """
    along = np.abs(points[-1] - points[0]).max() + 1.0
    return float(np.ptp(out)) * max(0.0, 1.0 - len(points) / float(along))


def u_at_bonds(out: Points) -> float:
    """Uncertainty of a layer's largest value (N,) as the rows next to its bonds are left out.

    At the bonds it may differ from its last value by what it changes within the layer over
    as many rows. With that as a normal distribution about that value, the mean square of what
    lies above the largest one is E[max(0, d)^2] = (m^2 + s^2) P(m / s) + m s p(m / s). A
    largest value at the very end belongs to the neighbour if the bond lies a little further in.
    """
    reach = 2 * BOND_ROWS
    left_out = round(max(BOND_MARGIN * len(out) / (1 - 2 * BOND_MARGIN), BOND_ROWS))
    if len(out) < 2 * (reach + left_out):
        return 0.0
    most, square = float(out.max()), 0.0
    for way in (out, out[::-1]):
        change = float(np.sqrt(np.mean((way[:-left_out] - way[left_out:]) ** 2)))
        square += _beyond(float(way[0]) - most, change)
        if way[:2].max() == most:
            square += rectangular(abs(float(way[0] - way[reach]))) ** 2
    return math.sqrt(square)


def _beyond(m: float, s: float) -> float:
    """Mean square of the positive part of a normal distribution."""
    if s <= 0:
        return max(m, 0.0) ** 2
    z = m / s
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return max(float((m * m + s * s) * ndtr(z) + m * s * density), 0.0)
