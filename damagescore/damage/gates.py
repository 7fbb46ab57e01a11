"""Thresholds of the crack search that follow from the one sensitivity control."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Gates:
    """Thresholds that follow from the one sensitivity control.

    Parameters
    ----------
    z_seed, z_grow : float
        Filter response, in robust spreads, that starts a line and that carries it on.
    dark_grow : float
        Relative darkness below which no line is carried on.
    dark_core : float
        Relative darkness that a quarter of a line must reach.
    dark_plain : float
        The same for lines that mould or shims may have drawn: straight ones along
        the layers, and those on a border.
    clear, clear_plain : float
        Least clarity of a line (`Candidate.clarity`), and of one of that sort.
    saliency : float
        Least sum of (z - 2.5) along a line, per sample of 1/25 mm: long and weak
        counts as short and strong.
    shortest_mm, shortest_plain_mm : float
        Least length of a proposal, and of one that mould or shims may have drawn.
    """

    z_seed: float
    z_grow: float
    dark_grow: float
    dark_core: float
    dark_plain: float
    clear: float
    clear_plain: float
    saliency: float
    shortest_mm: float
    shortest_plain_mm: float

    @classmethod
    def at(cls, sensitivity: float) -> "Gates":
        """Gates for a sensitivity from 0 (only the plainest) to 1 (all that is suspicious)."""
        s = sensitivity
        return cls(
            z_seed=8.5 - 4 * s,
            z_grow=4.8 - 1.2 * s,
            dark_grow=0.28 - 0.16 * s,
            dark_core=0.5 - 0.4 * s,
            dark_plain=0.75 - 0.4 * s,
            clear=0.95 - 0.5 * s,
            clear_plain=1.2 - 0.6 * s,
            saliency=220 * 0.12**s,
            shortest_mm=1.2 - 0.8 * s,
            shortest_plain_mm=3.0 - 2.0 * s,
        )
