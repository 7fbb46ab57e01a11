"""Which stretches of a dark network belong to its crack, each judged by its own evidence."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.gates import Gates
from damagescore.damage.ridge import Ridge

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Labels = NDArray[Any]

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

BUSY_PIECES, BUSY_MM = 8.0, 0.04
"""Other dark lines in a layer, pieces a cm² and mm a mm², from which its surface has a
drawing of its own. Drawn rubber with cracks has up to 7 and 0.01 together."""

ABOVE = 1.2
"""Times a surface's own lines at which the plainest part of a crack stands out of them."""

MORE = 0.6
"""Length that looks like the surface, over the rest, from which a network has run into it."""

RIM_MM = 0.3
"""So far a stretch that looks like the surface's own lines is parted from the crack."""

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
    the layer is full of other dark lines. Between two plain parts a short one stays. Where a
    layer is full of other dark lines and a crack stands out of them, a stretch that looks
    like them is cut free of it.

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
    pieces = cv2.connectedComponents(every.astype(np.uint8))[1]
    for k in range(1, count):
        left, top, width, height, places = stats[k]
        if places < 2 * STEADY_MM * px_per_mm:
            continue
        box = np.s_[top : top + height, left : left + width]
        network = label[box] == k
        steady, evidence = _steady(network, ridge.z[box], core[box], px_per_mm)
        plain = np.sort(evidence)[-min(len(evidence) // 2, round(PLAIN_MM * px_per_mm)) - 1]
        weak, alike = np.zeros_like(network), np.zeros_like(network)
        weak[network] = (steady < gates.z_seed) & (evidence < WEAK * plain)
        others = _others(pieces, label == k, px_per_mm)
        if weak.any():
            loose = _loose(network, weak, px_per_mm, busy=others is not None)
            kept[box][loose] = False
        if others is not None:
            usual = _usual(others, ridge, core, px_per_mm)
            alike[network] = (evidence < usual) & (plain > ABOVE * usual)
            # A faint end looks like the surface too: only what is more than that is parted.
            if alike.sum() > MORE * np.sum(network & ~alike):
                kept[box][_rim_of(network, alike, px_per_mm)] = False
    return kept


def has_own_lines(every: Mask, px_per_mm: float) -> bool:
    """Whether a layer has so many dark lines that its surface has a drawing of its own."""
    count = cv2.connectedComponents(every.astype(np.uint8))[0] - 1
    return bool(count > BUSY_PIECES * every.size / px_per_mm**2 / 100)


def _others(pieces: Labels, network: Mask, px_per_mm: float) -> Mask | None:
    """The other dark lines of a layer where they are so many that its surface has its own."""
    area_mm2 = pieces.size / px_per_mm**2
    least = BUSY_PIECES * area_mm2 / 100
    if pieces.max() <= least:
        return None
    own = np.unique(pieces[network])
    own = own[own > 0]
    other = (pieces > 0) & ~np.isin(pieces, own)
    busy = pieces.max() - len(own) > least and other.sum() / px_per_mm > BUSY_MM * area_mm2
    return other if busy else None


def _steady(network: Mask, z: Image, core: Image, px_per_mm: float) -> tuple[Image, Image]:
    """Mean answer along a network, and mean answer times darkness, at each of its places."""
    size = 2 * round(STEADY_MM * px_per_mm / 2) + 1
    share = cv2.blur(network.astype(np.float32), (size, size), borderType=cv2.BORDER_CONSTANT)
    steady, dark = (
        cv2.blur(np.where(network, x, 0), (size, size), borderType=cv2.BORDER_CONSTANT)[network]
        / share[network]
        for x in (z, core)
    )
    return np.asarray(steady), np.asarray(steady * np.maximum(dark, 0))


def _usual(others: Mask, ridge: Ridge, core: Image, px_per_mm: float) -> float:
    """Evidence that one in twenty of a surface's own dark lines exceeds (log-normal)."""
    evidence = np.log(np.maximum(_steady(others, ridge.z, core, px_per_mm)[1], 0.05))
    middle, upper = np.quantile(evidence, [0.5, 0.9])
    return float(np.exp(middle + 1.645 / 1.282 * (upper - middle)))


def _rim_of(network: Mask, alike: Mask, px_per_mm: float) -> Mask:
    """Where runs that look like the surface's own lines leave the crack: they are cut free."""
    _, run, stats, _ = cv2.connectedComponentsWithStats(alike.astype(np.uint8))
    long = stats[:, cv2.CC_STAT_AREA] >= WANDERS_MM * px_per_mm
    long[0] = False
    runs = long[run]
    reach = 2 * round(RIM_MM * px_per_mm) + 1
    crack = (network & ~runs).astype(np.uint8)
    near = cv2.dilate(crack, np.ones((reach, reach), np.uint8)) > 0
    return np.asarray(runs & near)


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
