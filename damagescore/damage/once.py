"""A stretch of the photo counts in one finding: what two of them follow is cut from one."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from damagescore.photo.along import run_of

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

SAME_MM = 0.12
"""A line within this of another follows the same stroke (as `fork.SAME_MM`)."""

MEETS_MM = 0.3
"""A line may end on another with this much along it; more is the other's stroke seen again."""


def counted_once(
    findings: Sequence[tuple[Points, ...]], *, px_per_mm: float
) -> list[tuple[Points, ...]]:
    """Lines of findings without what a longer finding follows already.

    Two pieces of one gap or crack that were found apart are each followed to its ends, and
    so may come to be the same line, or to overlap.

    Parameters
    ----------
    findings : sequence of tuple of ndarray, shape (N, 2)
        Lines of each, the main path first; photo pixels, points no more than
        `SAME_MM` apart.
    px_per_mm : float

    Returns
    -------
    list of tuple of ndarray, shape (N, 2)
        In the same order. Of a finding that is seen again for more than half of its length
        nothing is left; of others the ends of the main path that are, and branches that are
        for more than half, are left out.
    """
    made: list[tuple[Points, ...]] = [()] * len(findings)
    longest_first = sorted(range(len(findings)), key=lambda k: -_length(findings[k]))
    for number in longest_first:
        others = [line for lines in made for line in lines]
        made[number] = findings[number]
        if others:
            seen = _along(findings[number], np.vstack(others), SAME_MM * px_per_mm)
            made[number] = _rest(findings[number], seen, MEETS_MM * px_per_mm)
    return made


def _length(lines: tuple[Points, ...]) -> float:
    return float(sum(run_of(line)[-1] for line in lines))


def _along(lines: tuple[Points, ...], others: Points, reach_px: float) -> list[Mask]:
    tree = cKDTree(others)
    return [tree.query(x, distance_upper_bound=reach_px)[0] < reach_px for x in lines]


def _rest(lines: tuple[Points, ...], seen: list[Mask], meets_px: float) -> tuple[Points, ...]:
    steps = [np.diff(run_of(line)) for line in lines]
    # Lengths of segments, negative where they are the line's own.
    weights = [
        np.where(mask[:-1] & mask[1:], step, -step)
        for mask, step in zip(seen, steps, strict=True)
    ]
    if sum(x.sum() for x in weights) > 0:
        return ()
    own = [line for line, x in zip(lines, weights, strict=True) if x.sum() <= 0]
    if own[0] is not lines[0]:
        return tuple(sorted(own, key=lambda line: -run_of(line)[-1]))
    main, weight = lines[0], weights[0]
    for _ in range(2):
        cut = _shared_end(weight, meets_px)
        main, weight = main[cut:][::-1], weight[cut:][::-1]
    return (main, *own[1:])


def _shared_end(weights: Points, meets_px: float) -> int:
    """Segments to cut at the beginning, where more is shared than not.

    A line that crosses another goes on beyond it for longer than they share, and is not cut.
    """
    total = np.cumsum(weights)
    return int(np.argmax(total)) + 1 if len(total) and total.max() > meets_px else 0
