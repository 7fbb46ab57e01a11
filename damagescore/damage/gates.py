"""Lax limits of the crack search: what passes them is weighed, not yet believed."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Gates:
    """Least values of a candidate.

    Parameters
    ----------
    z_seed, z_grow : float
        Filter response, in robust spreads, that starts a line and that carries it on.
    dark_grow : float
        Relative darkness below which no line is carried on.
    darkness : float
        Relative darkness that a quarter of a line must reach.
    saliency : float
        Least sum of (z - 2.5) along a line, per sample of 1/25 mm: long and weak
        counts as short and strong.
    shortest_mm : float
        Least length.
    """

    z_seed: float
    z_grow: float
    dark_grow: float
    darkness: float
    saliency: float
    shortest_mm: float


GATES = Gates(
    z_seed=5.0, z_grow=4.0, dark_grow=0.16, darkness=0.15, saliency=40.0, shortest_mm=0.4
)
