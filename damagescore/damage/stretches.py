"""Which stretches of a dark network belong to its crack, each judged by its own evidence."""

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.gates import Gates
from damagescore.damage.ridge import Ridge

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

STEADY_MM = 1.0
"""A stretch is judged by its mean over this length."""

PLAIN_MM = 2.0
"""The plainest part of a network that says what its crack looks like."""

WEAK = 0.6
"""Share of the crack's evidence (darkness times answer) below which a stretch is weak."""

LEAST_MM = 0.3
"""A weak run shorter than this is an accident of a plain one."""

BRIDGE_MM = 1.5
"""A weak run up to this long between two plain ones is a part of their crack."""

FEW = 0.05
"""Share of a network that may answer weakly: it is not looked into for less."""

BUSY_PIECES, BUSY_MM = 8.0, 0.04
"""Other dark lines in a layer, pieces a cm² and mm a mm², from which its surface has a
drawing of its own. Drawn rubber with cracks has up to 7 and 0.01 together."""

COURSE = 0.85
"""Extent over length below which a run wanders; at least `WANDERS_MM` of it."""

WANDERS_MM = 1.0


def without_weak(
    skeleton: Mask, ridge: Ridge, core: Image, *, every: Mask, gates: Gates, px_per_mm: float
) -> Mask:
    """Leave out stretches that no line would have begun on and that are no part of the crack.

    A crack in a rough surface is easily carried on into the surface's own dark lines.
    Such a stretch answers less than a line must to begin (`gates.z_seed`), it is far
    weaker than the plainest part of the network that it hangs on, and either it wanders or
    the layer is full of other dark lines. Between two plain parts a short one stays.

    Parameters
    ----------
    skeleton : ndarray of bool, shape (rows, columns)
    ridge : Ridge
        Of the strip; `z` is read.
    core : ndarray of float32, same shape
        Relative darkness, a little smoothed.
    every : ndarray of bool, same shape
        Skeleton of all dark lines, also of those too short or too pale to be weighed.
    gates : Gates
    px_per_mm : float

    Notes
    -----
    The limits were set on drawn surfaces, `benchmarks/rough_textures.py`. Known bias: where
    a surface is full of dark lines, a real branch below the limits is left out.
    """
    count, label, stats, _ = cv2.connectedComponentsWithStats(skeleton.astype(np.uint8))
    kept = skeleton.copy()
    for k in range(1, count):
        left, top, width, height, places = stats[k]
        if places < 2 * STEADY_MM * px_per_mm:
            continue
        box = np.s_[top : top + height, left : left + width]
        network = label[box] == k
        weak = _weak(network, ridge.z[box], core[box], gates=gates, px_per_mm=px_per_mm)
        if weak.any():
            busy = _is_busy(every, label == k, px_per_mm)
            kept[box][_loose(network, weak, px_per_mm, busy=busy)] = False
    return kept


def _is_busy(every: Mask, network: Mask, px_per_mm: float) -> bool:
    """Whether a layer is full of dark lines besides a network."""
    count, label = cv2.connectedComponents(every.astype(np.uint8))
    own = np.unique(label[network])
    other = every & ~np.isin(label, own[own > 0])
    area_mm2 = every.size / px_per_mm**2
    pieces = count - 1 - np.sum(own > 0)
    busy = pieces > BUSY_PIECES * area_mm2 / 100
    return bool(busy and other.sum() / px_per_mm > BUSY_MM * area_mm2)


def _weak(network: Mask, z: Image, core: Image, *, gates: Gates, px_per_mm: float) -> Mask:
    """Where a network is weak on the whole."""
    answer = z[network]
    if np.mean(answer < gates.z_seed) < FEW:
        return np.zeros_like(network)
    size = 2 * round(STEADY_MM * px_per_mm / 2) + 1
    share = cv2.blur(network.astype(np.float32), (size, size), borderType=cv2.BORDER_CONSTANT)
    steady, dark = (
        cv2.blur(np.where(network, x, 0), (size, size), borderType=cv2.BORDER_CONSTANT)[network]
        / share[network]
        for x in (z, core)
    )
    evidence = steady * np.maximum(dark, 0)
    plain = np.sort(evidence)[-min(len(evidence) // 2, round(PLAIN_MM * px_per_mm)) - 1]
    weak = np.zeros_like(network)
    weak[network] = (steady < gates.z_seed) & (evidence < WEAK * plain)
    return weak


def _loose(network: Mask, weak: Mask, px_per_mm: float, *, busy: bool) -> Mask:
    """Weak runs that count: long enough, and no bridge between two plain parts."""
    loose = np.zeros_like(network)
    _, plain = cv2.connectedComponents((network & ~weak).astype(np.uint8))
    sizes = np.bincount(plain.ravel())
    count, run, stats, _ = cv2.connectedComponentsWithStats(weak.astype(np.uint8))
    for k in range(1, count):
        width, height, places = stats[k, 2:]
        wanders = places > WANDERS_MM * px_per_mm and max(width, height) < COURSE * places
        if places < LEAST_MM * px_per_mm or not (busy or wanders):
            continue
        here = run == k
        beside = np.unique(plain[cv2.dilate(here.astype(np.uint8), np.ones((3, 3))) > 0])
        joins = np.sum(sizes[beside[beside > 0]] >= STEADY_MM * px_per_mm)
        if joins < 2 or places > BRIDGE_MM * px_per_mm:
            loose |= here
    return loose
