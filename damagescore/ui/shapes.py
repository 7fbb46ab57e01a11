"""What the inspector's hand does to lines and outlines: put in, take out, add, take away."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from damagescore.errors import UsageError
from damagescore.photo.outline import signed_area

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

FINEST = 8
"""Most cells per photo pixel: a border is then kept to about a sixteenth of a pixel."""

MOST_CELLS = 16_000_000
"""Cells of one mask; a larger area is kept in coarser cells, of a pixel at most."""

THIN_CELLS = 0.75
"""Points of an outline that only follow the corners of cells are left out."""

LEAST_PART_PX2 = 9.0
"""Slivers below three by three pixels come from a shaky hand, not from the rubber."""


def spliced(line: Points, points: Points, *, first: int, last: int) -> Points:
    """Put points in the place of those from `first` to `last`, both included.

    Parameters
    ----------
    line : ndarray, shape (N, 2)
    points : ndarray, shape (M, 2)
        May be empty: then the points are taken out.
    first, last : int
        Indices into `line`. On a closed outline `last` may lie before `first`: the
        stretch then runs over the end, and the outline starts anew after it.
    """
    given = points.reshape(-1, 2)
    if first <= last:
        return np.vstack([line[:first], given, line[last + 1 :]])
    return np.vstack([line[last + 1 : first], given])


def joined(outline: Points, stroke: Points) -> list[Points]:
    """Add the inside of a stroke to an outlined area; one outline, or UsageError."""
    window = _window([outline, stroke])
    parts = window.outlines(window.inside(outline) | window.inside(stroke))
    if len(parts) != 1:
        raise UsageError(
            "What was drawn does not touch the selected area.",
            remedy="Start inside the area, or draw it as an area of its own.",
        )
    return parts


def taken_away(outline: Points, stroke: Points) -> list[Points]:
    """Take the inside of a stroke out of an outlined area.

    Returns
    -------
    list of ndarray, shape (N, 2)
        What is left, largest first. A hole is joined to the outline by a cut of no
        width, so that area and inside are right although the outline is one line.

    Raises
    ------
    UsageError
        When nothing is left, or nothing was taken away.
    """
    window = _window([outline, stroke])
    before, cut = window.inside(outline), window.inside(stroke)
    if not (before & cut).any():
        raise UsageError(
            "What was drawn does not cover any of the selected area.",
            remedy="Draw round the part of the area that is sound.",
        )
    parts = window.outlines(before & ~cut)
    if not parts:
        raise UsageError(
            "Nothing would be left of the area.",
            remedy="Reject the finding instead, with the reason.",
        )
    return parts


def tidied(stroke: Points) -> Points:
    """One outline round what a hand drew, without its loops; the largest part of it."""
    if len(stroke) < 3:
        raise UsageError(
            f"The outline has {len(stroke)} points and encloses no area.",
            remedy="Draw round the damaged area, with three points or more.",
        )
    window = _window([stroke])
    parts = window.outlines(window.inside(stroke))
    if not parts:
        raise UsageError("The outline encloses no area.", remedy="Draw round the damaged area.")
    return parts[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A grid of cells over part of the photo: `cells` per pixel, from `corner` on.

    Cell (i, j) has its centre at photo pixel `corner + (j + 0.5, i + 0.5) / cells - 0.5`.
    """

    corner: Points
    cells: float
    shape: tuple[int, int]

    def inside(self, outline: Points) -> Mask:
        """True where a cell's centre lies inside, by the winding number."""
        x, y = self._to_cells(outline).T
        following_x, following_y = np.roll(x, -1), np.roll(y, -1)
        down = following_y > y
        top = np.ceil(np.where(down, y, following_y)).astype(int)
        count = np.ceil(np.where(down, following_y, y)).astype(int) - top
        side = np.repeat(np.arange(len(x)), count)
        row = np.arange(len(side)) - np.repeat(np.cumsum(count) - count, count) + top[side]
        rise = following_y[side] - y[side]
        across = x[side] + (row - y[side]) / rise * (following_x[side] - x[side])
        turns = np.zeros(self.shape, np.int16)
        # Cells at and right of a crossing lie on its other side.
        np.add.at(turns, (row, np.ceil(across).astype(int)), np.where(down[side], 1, -1))
        np.cumsum(turns, axis=1, out=turns)
        return np.asarray(turns != 0)

    def outlines(self, mask: Mask) -> list[Points]:
        """Outlines of the parts of a mask in photo pixels, largest first."""
        found = [_thinned(c[:-1, ::-1]) for c in find_contours(mask.astype(np.float32), 0.5)]  # type: ignore[no-untyped-call]
        found = [self._to_photo(c) for c in found]
        found = [c for c in found if abs(signed_area(c)) >= LEAST_PART_PX2]
        outer = sorted((c for c in found if signed_area(c) > 0), key=signed_area, reverse=True)
        holes = sorted((c for c in found if signed_area(c) < 0), key=lambda c: c[:, 0].min())
        return [_with_holes(c, holes) for c in outer]

    def _to_cells(self, points: Points) -> Points:
        return np.asarray((points - self.corner + 0.5) * self.cells - 0.5)

    def _to_photo(self, points: Points) -> Points:
        return np.asarray((points + 0.5) / self.cells - 0.5 + self.corner)


def _window(outlines: Sequence[Points]) -> Window:
    every = np.vstack(outlines)
    corner = np.floor(every.min(axis=0)) - 2
    wide, high = np.ceil(every.max(axis=0)) + 3 - corner
    cells = float(np.floor(np.clip(np.sqrt(MOST_CELLS / (wide * high)), 1, FINEST)))
    return Window(corner=corner, cells=cells, shape=(int(high * cells), int(wide * cells)))


def _thinned(outline: Points) -> Points:
    flat = cv2.approxPolyDP(
        outline.astype(np.float32).reshape(-1, 1, 2), THIN_CELLS, closed=True
    )
    return flat.reshape(-1, 2).astype(np.float64)


def _with_holes(outer: Points, holes: Sequence[Points]) -> Points:
    """Join each hole inside an outline to it by a cut of no width, leftmost hole first."""
    for hole in holes:
        start = int(np.argmin(hole[:, 0]))
        tip = hole[start]
        side, at = _left_of(outer, tip)
        if side is None:
            continue
        way = np.roll(hole, -start, axis=0)
        outer = np.vstack([outer[: side + 1], at, way, tip, at, outer[side + 1 :]])
    return outer


def _left_of(outline: Points, tip: Points) -> tuple[int | None, Points]:
    """The side of an outline straight left of a point inside it, and where it is met."""
    following = np.roll(outline, -1, axis=0)
    crossed = (outline[:, 1] <= tip[1]) != (following[:, 1] <= tip[1])
    sides = np.flatnonzero(crossed)
    a, b = outline[sides], following[sides]
    share = (tip[1] - a[:, 1]) / (b[:, 1] - a[:, 1])
    across = a[:, 0] + share * (b[:, 0] - a[:, 0])
    left = across < tip[0]
    if not left.sum() % 2:
        return None, tip
    nearest = np.flatnonzero(left)[np.argmax(across[left])]
    return int(sides[nearest]), np.array([across[nearest], tip[1]])
