"""Two photos of one edge laid on one another, or refused with a sentence."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.history.edge_view import PX_PER_MM, EdgeView, thicknesses

Points = NDArray[np.float64]

RATIO = 0.85
"""A match must be this much nearer than the next best one (Lowe 2004, section 7.1)."""

ROW_MM = 0.5
"""The layers are the datum: a feature does not change its height by more."""

ALONG_MM = 0.25
"""Matches that agree with a shift this well count for it."""

MOST_STRETCH = 0.03
"""Two scales of one edge differ by less."""

FEWEST = 12
LEAST_SHARE = 0.3
"""Matches that must agree: so many, over so much of what both photos show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Registration:
    """How positions along the first edge view lead to the second.

    Parameters
    ----------
    stretch, shift_mm : float
        second = stretch · first + shift.
    u_mm : float
        Standard uncertainty of a position carried over.
    n_matches : int
        Features that agree.
    overlap_mm : tuple of float
        Positions along the first view that the second shows too.
    """

    stretch: float
    shift_mm: float
    u_mm: float
    n_matches: int
    overlap_mm: tuple[float, float]

    def carry(self, along_mm: Points) -> Points:
        """Positions along the first view to the second."""
        return np.asarray(self.stretch * along_mm + self.shift_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotRegistered:
    """Why two photos cannot be laid on one another."""

    reason: str


def comparable(first: EdgeView, second: EdgeView) -> NotRegistered | None:
    """Tell why two flat views have no common datum; None where they have."""
    counts = len(first.edge.layers), len(second.edge.layers)
    if counts[0] != counts[1]:
        return NotRegistered(
            reason=f"One photo shows {counts[0]} layers and shims, the other {counts[1]}: "
            "without the same layers there is no common datum."
        )
    heights = [thicknesses(v.edge, v.scale) for v in (first, second)]
    if _unlike(*heights):
        return NotRegistered(
            reason="The layers of the two photos differ in thickness by more than a quarter: "
            "they do not show the same part, or their scales are wrong."
        )
    return None


def register(first: EdgeView, second: EdgeView) -> Registration | NotRegistered:
    """Find the shift and stretch along the layers by features that keep their height.

    Scale-invariant features (Lowe 2004) of both flat views, matched by the ratio of
    distances; matches that change their height are dropped, as the layers are the datum.
    The shift with most agreement is refined by least squares (random sampling is not
    needed for one unknown).

    Parameters
    ----------
    first, second : EdgeView
        With the same rows.
    """
    fault = comparable(first, second)
    if fault is not None:
        return fault
    pairs = _matches(first, second)
    if len(pairs) < FEWEST:
        return NotRegistered(reason=_too_few(len(pairs)))
    a, b = pairs.T
    votes = np.abs((b - a)[:, None] - (b - a)[None, :]) < 4 * ALONG_MM
    agreeing = votes[np.argmax(votes.sum(axis=1))]
    stretch, shift = 1.0, float(np.median((b - a)[agreeing]))
    for _ in range(5):
        agreeing = np.abs(b - stretch * a - shift) < ALONG_MM * (4 if stretch == 1.0 else 1)
        if agreeing.sum() < FEWEST:
            return NotRegistered(reason=_too_few(int(agreeing.sum())))
        stretch, shift = np.polyfit(a[agreeing], b[agreeing], 1)
        if abs(stretch - 1) > MOST_STRETCH:
            return NotRegistered(
                reason="Laid on one another the scales would differ by "
                f"{100 * abs(stretch - 1):.0f} %: the matches are by chance, or a scale is off."
            )
    return _checked(first, second, a[agreeing], b[agreeing], (float(stretch), float(shift)))


def _checked(
    first: EdgeView, second: EdgeView, a: Points, b: Points, line: tuple[float, float]
) -> Registration | NotRegistered:
    stretch, shift = line
    low, high = ((x - shift) / stretch for x in second.span_mm)
    overlap = max(first.span_mm[0], low), min(first.span_mm[1], high)
    spread = float(np.ptp(np.percentile(a, [5, 95])))
    if overlap[1] - overlap[0] <= 0 or spread < LEAST_SHARE * (overlap[1] - overlap[0]):
        return NotRegistered(
            reason="The features that agree lie too close together to tell how the photos "
            "lie on one another."
        )
    residual = b - stretch * a - shift
    u = 1.4826 * float(np.median(np.abs(residual))) / np.sqrt(len(a) / 4)
    # A quarter of a pixel of the flat view is as good as it gets.
    return Registration(
        stretch=stretch, shift_mm=shift, u_mm=float(np.hypot(u, 0.25 / PX_PER_MM)),
        n_matches=len(a), overlap_mm=overlap,
    )  # fmt: skip


def _too_few(count: int) -> str:
    return (
        f"Only {count} features of the two photos agree, and {FEWEST} are needed: they may "
        "show different parts or stretches of the edge, or too different a light."
    )


def _unlike(heights: Sequence[float], other: Sequence[float]) -> bool:
    ratio = float(np.median(np.array(other) / np.maximum(heights, 1e-6)))
    return not 0.75 < ratio < 1.33


def _matches(first: EdgeView, second: EdgeView) -> Points:
    """Positions along of matched features, shape (N, 2), mm."""
    (places_a, signs_a), (places_b, signs_b) = _features(first), _features(second)
    if len(places_a) < 2 or len(places_b) < 2:
        return np.zeros((0, 2))
    found = cv2.BFMatcher(cv2.NORM_L2).knnMatch(signs_a, signs_b, k=2)
    kept = [
        (places_a[m.queryIdx], places_b[m.trainIdx])
        for m, other in (pair for pair in found if len(pair) == 2)
        if m.distance < RATIO * other.distance
    ]
    if not kept:
        return np.zeros((0, 2))
    pairs = np.array(kept)
    level = np.abs(pairs[:, 0, 1] - pairs[:, 1, 1]) < ROW_MM
    return np.asarray(pairs[level][:, :, 0])


def _features(view: EdgeView) -> tuple[Points, NDArray[np.float32]]:
    """Places (N, 2) along and from the top in mm, and descriptors (N, 128)."""
    image = _levelled(view)
    mask = cv2.erode(view.seen.astype(np.uint8) * 255, np.ones((5, 5), np.uint8))
    points, signs = cv2.SIFT.create(nfeatures=4000, contrastThreshold=0.02).detectAndCompute(
        image, mask
    )
    if not len(points):
        return np.zeros((0, 2)), np.zeros((0, 128), np.float32)
    at = np.array([p.pt for p in points]) / PX_PER_MM
    at[:, 0] += view.start_mm
    return at, np.asarray(signs, np.float32)


def _levelled(view: EdgeView) -> NDArray[np.uint8]:
    """Grey levels over the local light, and each row over its own middle.

    The rows of shims and rubber would otherwise drown what tells one place along them
    from another.
    """
    grey = np.where(view.seen, view.grey, np.nan)
    rows = np.nanmedian(grey, axis=1, keepdims=True)
    ratio = np.log((np.nan_to_num(grey, nan=1.0) + 4.0) / (np.nan_to_num(rows, nan=1.0) + 4.0))
    ratio[~view.seen] = 0.0
    slow = cv2.GaussianBlur(ratio.astype(np.float32), (0, 0), 4.0 * PX_PER_MM)
    return np.clip(128 + 110 * (ratio - slow), 0, 255).astype(np.uint8)
