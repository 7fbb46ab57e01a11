"""Relative darkness of the photo around a line."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.ridge import local_mean
from damagescore.damage.strip import blurred
from damagescore.ranks import median

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

LOOK_MM = 0.2

LOOK = np.linspace(0.15, 1.0, 6)

SIDE_MM = 0.3

AROUND_MM = 5.0
"""Sound rubber within this distance says what grain and border look like."""

BORDER_MM = 0.5
"""Reach of a shim's gleam and contact shadow into the rubber."""

OUTSIDE = -3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Surround:
    """Relative darkness of the photo around a line.

    `dark` (h, w) is 0 on the rubber beside the stroke, the usual shade of the layer's
    border taken off, and far below it outside the judged rubber; `corner` (x, y) is the
    photo pixel of its first element; `px_per_mm` is the photo's. `sound` (N, 2) are
    places on sound rubber, `from_border_px` (N,) their distance from what is not
    judged, and `depth` (h, w) that of every pixel.
    """

    dark: Image
    corner: Points
    px_per_mm: float
    sound: Points
    depth: Image

    def contrast(self, places: Points, headings: Points) -> Image:
        """How much darker the next bit of line is than both its sides.

        Parameters
        ----------
        places : ndarray, shape (N, 2)
            Photo pixels.
        headings : ndarray, shape (M,) or (N, M)
            Radians.

        Returns
        -------
        ndarray, shape (N, M, L)
            Darkness at L places ahead, less that of the darker side.
        """
        middle, left, right = self.look(places, headings)
        beside = (left + right) / 2
        return np.asarray(middle - np.maximum(beside, 0)[:, :, None], np.float32)

    def look(self, places: Points, headings: Points) -> tuple[Image, Image, Image]:
        """Darkness at L places ahead, (N, M, L), and mean darkness of both sides, (N, M)."""
        # Places last: a short last axis is slow, and a walk looks hundreds of times.
        c, s = np.cos(headings), np.sin(headings)
        ahead = (LOOK * LOOK_MM * self.px_per_mm)[:, None, None]
        left_x, left_y = (x * SIDE_MM * self.px_per_mm for x in (-s, c))
        sides = np.array([0.0, 1.0, -1.0])[:, None, None, None]
        x = (places[:, :1] + ahead * c) + sides * left_x
        y = (places[:, 1:] + ahead * s) + sides * left_y
        read = self._at(self.dark, x.reshape(3 * len(LOOK), -1), y.reshape(3 * len(LOOK), -1))
        middle, left, right = read.reshape(x.shape)
        return np.moveaxis(middle, 0, -1), left.mean(axis=0), right.mean(axis=0)

    def from_border_mm(self, places: Points) -> Image:
        """Distance from what is not judged."""
        read = self._at(self.depth, places[:, :1], places[:, 1:])
        return np.asarray(read[:, 0] / self.px_per_mm)

    def _at(self, image: Image, x: Points, y: Points) -> Image:
        if x.size == 0:  # OpenCV refuses to read nowhere
            return np.zeros(x.shape, np.float32)
        read = cv2.remap(
            image, (x - self.corner[0]).astype(np.float32),
            (y - self.corner[1]).astype(np.float32), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=OUTSIDE,
        )  # fmt: skip
        return np.asarray(read, np.float32)


def surround_of(grey: Image, line: Points, inside: Mask, *, px_per_mm: float) -> Surround:
    """Darkness around a line, with sound rubber on all sides of it.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
    line : ndarray, shape (N, 2)
        Photo pixels.
    inside : ndarray of bool, shape (H, W)
        Where a stroke may run; its edge is an end.
    px_per_mm : float
    """
    reach = math.ceil(AROUND_MM * px_per_mm)
    x0, y0 = (max(0, int(c) - reach) for c in line.min(axis=0))
    x1, y1 = (int(c) + reach + 1 for c in line.max(axis=0))
    part, allowed = grey[y0:y1, x0:x1], inside[y0:y1, x0:x1]
    stroke = np.zeros(part.shape, np.uint8)
    course = np.round(line - (x0, y0)).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(stroke, [course], False, 1, max(1, round(0.8 * px_per_mm)))
    sound = allowed & (stroke == 0)
    fine = blurred(part, max(0.5, 0.025 * px_per_mm))
    depth, side = _from_borders(allowed)
    level = local_mean(fine, sound, 0.8 * px_per_mm)
    # Chalk or lint must not make the rubber beside it look dark: a walk would turn along it.
    lying = (blurred(fine, 0.1 * px_per_mm) > 1.25 * level) & (depth > BORDER_MM * px_per_mm)
    if lying.any():
        level = local_mean(fine, sound & ~lying, 0.8 * px_per_mm)
    dark = 1 - fine / level
    dark -= _border_shade(dark, sound, depth, side, px_per_mm=px_per_mm)
    dark[~allowed] = OUTSIDE
    corner = np.array([x0, y0], np.float64)
    gap = max(1, round(0.08 * px_per_mm))
    rows, columns = np.nonzero(sound[::gap, ::gap])
    return Surround(
        dark=dark.astype(np.float32), corner=corner, px_per_mm=px_per_mm,
        sound=np.column_stack([columns, rows]) * gap + corner,
        depth=np.asarray(depth, np.float32),
    )  # fmt: skip


def _from_borders(allowed: Mask) -> tuple[Image, NDArray[np.int32]]:
    """Distance from what is not judged, px, and which piece of it is the nearest, from 1."""
    depth, side = cv2.distanceTransformWithLabels(
        allowed.astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_CCOMP
    )
    return np.asarray(depth, np.float32), np.asarray(side, np.int32)


def _border_shade(
    dark: Image, sound: Mask, depth: Image, side: NDArray[np.int32], *, px_per_mm: float
) -> Image:
    """What sound rubber usually looks like at each distance from each of its borders.

    The light falls on one border and not on the other, so `side` keeps them apart.
    """
    reach = round(BORDER_MM * px_per_mm)
    shade = np.zeros(dark.shape, np.float32)
    at = np.flatnonzero((depth > 0) & (depth < reach + 1))
    border = side.ravel()[at]
    long = np.bincount(border) > 50
    held = long[border]
    at, border = at[held], border[held]
    step = depth.ravel()[at].astype(np.intp)
    # One number a distance and border: few, so that they are soon sorted.
    group = (np.cumsum(long) - 1)[border] * (reach + 1) + step
    plain = sound.ravel()[at]
    levels = _levels(dark.ravel()[at[plain]], group[plain], int(long.sum()) * (reach + 1))
    shade.ravel()[at] = levels[group]
    return shade


def _levels(seen: Image, group: NDArray[np.intp], count: int) -> Image:
    """Median darkness of each group, 0 where too little is seen or it gleams."""
    levels = np.zeros(count, np.float32)
    order = np.argsort(group.astype(np.min_scalar_type(count)), kind="stable")
    bounds = np.concatenate([[0], np.cumsum(np.bincount(group, minlength=count))])
    ordered = seen[order]
    for k in range(count):
        here = ordered[bounds[k] : bounds[k + 1]]
        # A gleaming border is no reason to take plain rubber beside it for dark.
        levels[k] = max(0.0, median(here)) if len(here) > 50 else 0.0
    return levels
