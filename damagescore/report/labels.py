"""Place labels so that they hide neither each other nor the damage, where there is room."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.photo.along import at_run, run_of

Boxes = NDArray[np.float64]
"""Left, top, right, bottom of each box; shape (N, 4); y down."""

RINGS = 12
TURNS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A label's text, the point it belongs to, and its width and height."""

    text: str
    at: tuple[float, float]
    size: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A label's box (left, top, right, bottom) and the point that its leader ends at."""

    text: str
    box: tuple[float, float, float, float]
    at: tuple[float, float]


def place_labels(
    wanted: Iterable[Wanted], area: tuple[float, float], *, taken: Boxes, marks: Boxes
) -> list[Placed]:
    """Give each label the nearest place that hides nothing.

    Parameters
    ----------
    wanted : iterable of Wanted
    area : tuple of float
        Width and height; labels stay inside.
    taken : ndarray, shape (N, 4)
        Places that must stay free.
    marks : ndarray, shape (M, 4)
        Places that should stay free. Where there is no room, a label lies over
        marks, and at last over other labels: every finding is labelled.
    """
    used = taken
    placed = []
    for label in wanted:
        places = _places(label, area)
        among = _overlaps(places, used)
        over = _overlaps(places, marks)
        # argmin takes the first of equals, and the places come nearest first.
        best = places[int(np.argmin(2 * (among > 0) + (over > 0)))]
        used = np.vstack([used, best[None]])
        left, top, right, bottom = (float(v) for v in best)
        placed.append(Placed(text=label.text, box=(left, top, right, bottom), at=label.at))
    return placed


def no_boxes() -> Boxes:
    """Give an empty set of boxes."""
    return np.empty((0, 4))


def boxes_along(points: NDArray[np.float64], half: float) -> Boxes:
    """Boxes of half-size `half` along a polyline, shape (N, 2), one every 2 `half`."""
    if len(points) == 0:
        return no_boxes()
    long = run_of(points)[-1]
    x, y = at_run(points, np.linspace(0.0, long, min(60, 2 + int(long / (2 * half))))).T
    return np.column_stack([x - half, y - half, x + half, y + half])


def _overlaps(places: Boxes, boxes: Boxes) -> NDArray[np.int64]:
    p, b = places[:, None, :], boxes[None, :, :]
    apart = (
        (p[..., 0] >= b[..., 2])
        | (b[..., 0] >= p[..., 2])
        | (p[..., 1] >= b[..., 3])
        | (b[..., 1] >= p[..., 3])
    )
    return np.asarray((~apart).sum(axis=1), dtype=np.int64)


def _places(label: Wanted, area: tuple[float, float]) -> Boxes:
    """Boxes in rings about the label's point, nearest first, moved inside the area."""
    width, height = label.size
    ring, turn = np.meshgrid(np.arange(1, RINGS + 1), np.arange(TURNS), indexing="ij")
    angle = np.radians(-60 + turn.ravel() * 360 / TURNS)
    reach = 1.2 * height * ring.ravel()
    x = label.at[0] + np.cos(angle) * (reach + width / 2) - width / 2
    y = label.at[1] + np.sin(angle) * (reach + height / 2) - height / 2
    left = np.clip(x, 0.0, max(0.0, area[0] - width))
    top = np.clip(y, 0.0, max(0.0, area[1] - height))
    return np.column_stack([left, top, left + width, top + height])
