"""Outline of a crumbled patch where it is as likely in as out, and how sure that is."""

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from damagescore.damage.crumbling_evidence import (
    CLUES,
    Evidence,
    border_score,
    clues,
    window_of,
)
from damagescore.damage.crumbling_gaps import gap_field
from damagescore.damage.crumbling_strip import Image, Mask, Strip, disc
from damagescore.photo.along import run_of
from damagescore.photo.outline import signed_area

Points = NDArray[np.float64]

GROW_MM = 1.5
"""How far a patch is grown in each pass: as far as the weights were fitted for."""

PASSES = 3
"""The core is narrow at first; the patch it gives settles after two passes."""

PLAIN = 3.0
"""Log odds that leave no doubt, 95 %: the unit of the field that places the border."""

LINE = 0.8
"""Coherence of the structure tensor above which a patch does not grow along a place."""

LENIENT = 1.2
"""Log odds given to each pixel, for it has to pass by its gaps as well."""

UNDECIDED = 1.0
"""Log odds on either side within which a pixel is undecided: 27 to 73 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A patch in a window of its strip.

    Parameters
    ----------
    polygon_px : ndarray, shape (N, 2)
        Photo pixels. Pieces are joined by bridges of no width, and holes are filled.
    area_mm2 : float
        By the photo's mean scale; the finding's area follows the surface.
    usual : ndarray, shape (clues,)
        Medians over the patch of `CLUES`.
    undecided : float
        Area whose odds leave it undecided, as a share of the patch.
    odds : ndarray, shape (h, w)
        Log odds in the window.
    aligned : ndarray, shape (h, w)
        Coherence of the structure tensor there.
    corner : tuple of int
        Column and row of the window's first pixel in the strip.
    unplaced : float
        Spread of the odds of a border that was placed anew, as a share of the patch.
    stands_out : float
        Texture of its core over that of the rubber right beside it, summed as logarithms
        over four bands; unknown, and then without a limit, before the border was placed.
    """

    polygon_px: Points
    area_mm2: float
    usual: NDArray[np.float32]
    undecided: float
    odds: Image
    aligned: Image
    corner: tuple[int, int]
    unplaced: float = 0.0
    stands_out: float = math.inf

    @property
    def breadth_mm(self) -> float:
        """How broad the patch is: twice its area over its circumference.

        The radius of a disc, and the breadth of a long band.
        """
        ring = np.vstack([self.polygon_px, self.polygon_px[:1]])
        area_px = abs(signed_area(self.polygon_px))
        if area_px == 0:
            return 0.0
        return 2 * math.sqrt(self.area_mm2 * area_px) / float(run_of(ring)[-1])


def outline_of(evidence: Evidence, core: Mask, *, join_mm: float) -> Outline | None:
    """Sub-pixel outline of the patch around a core.

    A pixel has to pass twice, for the errors of the two differ: by the odds that it is
    crumbled, from its surroundings and how they compare with the core and with sound
    rubber (`border_score`), and by the gaps between grains (`gap_field`). The patch of the
    first gives its own next core. Known bias: patches of coarse grains (0.5 mm and more)
    or with a smooth bottom read 5 to 15 % large, those in layers below 1.2 mm up to 20 %
    small.

    Parameters
    ----------
    evidence : Evidence
    core : ndarray of bool, shape (h, w)
    join_mm : float
        Pieces smaller than a sixteenth of its square are dropped.

    Returns
    -------
    Outline or None
        None where nothing encloses an area.
    """
    strip = evidence.strip
    rows, columns = _around(core, margin_px=PASSES * GROW_MM * strip.px_per_mm)
    part, core = window_of(evidence, rows, columns), core[rows, columns]
    seen = clues(part)
    grow = disc(GROW_MM * strip.px_per_mm)
    least_px = (join_mm / 4 * strip.px_per_mm) ** 2
    patch = core
    first = cv2.dilate(core.astype(np.uint8), grow) > 0
    line = seen[..., CLUES.index("aligned")] > LINE
    for _ in range(PASSES):
        near = first | ((cv2.dilate(patch.astype(np.uint8), grow) > 0) & ~line)
        score = np.where(near, border_score(seen, patch), np.float32(-UNDECIDED))
        patch = only_touching(on_layer(part.strip, score), core, least_px=least_px) > 0
        if not patch.any():
            return None
    both = np.minimum((score + LENIENT) / PLAIN, gap_field(part, patch, near=near))
    field = only_touching(on_layer(part.strip, both), core, least_px=least_px)
    polygon, patch = ring_of(field), field > 0
    if polygon is None:
        return None
    return Outline(
        polygon_px=strip.to_photo(polygon + np.array([columns.start, rows.start])),
        area_mm2=float(patch.sum()) / strip.px_per_mm**2,
        usual=np.median(seen[patch], axis=0), undecided=_undecided(score, patch, near),
        odds=score, aligned=seen[..., CLUES.index("aligned")],
        corner=(columns.start, rows.start),
    )  # fmt: skip


def _around(core: Mask, *, margin_px: float) -> tuple[slice, slice]:
    """Window of a core and what is near it."""
    margin = math.ceil(margin_px)
    spans = []
    for axis, size in enumerate(core.shape):
        places = np.flatnonzero(core.any(axis=1 - axis))
        spans.append(
            slice(max(int(places[0]) - margin, 0), min(int(places[-1]) + margin + 1, size))
        )
    return spans[0], spans[1]


def on_layer(strip: Strip, field: NDArray[np.floating[Any]]) -> Image:
    """Cut a field off at the layer's own border.

    Both are 0 on their border and nearly linear beside it, so is the least.
    """
    border = np.maximum((strip.inside - np.float32(0.5)) * 2, -1)
    return np.asarray(np.minimum(field, border), dtype=np.float32)


def only_touching(score: Image, core: Mask, *, least_px: float) -> Image:
    """Fill holes; leave out pieces that hold none of the core, and specks."""
    found, _ = cv2.findContours(
        (score > 0).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    kept_mask = np.zeros(score.shape, np.bool_)
    for loop in found:
        piece = np.zeros(score.shape, np.uint8)
        cv2.drawContours(piece, [loop], -1, (1,), -1)
        if piece.sum() >= least_px and (piece.astype(bool) & core).any():
            kept_mask |= piece.astype(bool)
    whole = np.where(kept_mask, np.maximum(score, 0.1), np.minimum(score, -0.1))
    # Beside a border that is kept the field stays as it is: it places the border.
    beside = cv2.dilate(kept_mask.astype(np.uint8), disc(1.0)).astype(bool) & ~kept_mask
    return np.where(beside | (kept_mask & (score > 0)), score, whole).astype(np.float32)


def _undecided(score: Image, patch: Mask, near: Mask) -> float:
    band = (np.abs(score) < UNDECIDED) & near
    return float(band.sum()) / 2 / max(float(patch.sum()), 1.0)


def ring_of(field: Image) -> Points | None:
    """Outer borders of where a field is above 0, joined by bridges of no width, (N, 2)."""
    loops = find_contours(np.pad(field, 1, constant_values=-1), 0.0)  # type: ignore[no-untyped-call]
    rings = [r[:-1, ::-1] - 1 for r in loops if len(r) > 4]
    outer = [ring for ring in rings if signed_area(ring) * _outer_sign(rings) > 0]
    return _bridged(outer) if outer else None


def rings_as_one(field: Image) -> Points | None:
    """All borders of where a field is above 0, pieces and holes, as one outline (N, 2).

    Pieces and holes are joined by bridges of no width; None where it is nowhere above 0.
    """
    loops = find_contours(np.pad(field, 1, constant_values=-1), 0.0)  # type: ignore[no-untyped-call]
    rings = [r[:-1, ::-1] - 1 for r in loops if len(r) > 4]
    return _bridged(rings) if rings else None


def _outer_sign(rings: list[Points]) -> float:
    largest = max(rings, key=lambda ring: abs(signed_area(ring)))
    return math.copysign(1.0, signed_area(largest))


def _bridged(rings: list[Points]) -> Points:
    """Join pieces of one patch by bridges of no width, so that areas simply add."""
    rings = sorted(rings, key=lambda ring: -abs(signed_area(ring)))
    whole = rings[0]
    for ring in rings[1:]:
        gap = np.hypot(*(whole[:, None, :] - ring[None, :, :]).transpose(2, 0, 1))
        i, j = np.unravel_index(int(np.argmin(gap)), gap.shape)
        turned = np.roll(ring, -int(j), axis=0)
        whole = np.vstack([whole[: i + 1], turned, turned[:1], whole[i:]])
    return whole
