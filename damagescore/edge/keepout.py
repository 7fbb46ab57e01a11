"""Where the scale card lies: never rubber, and not to be looked at."""

import math
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.edge.sampling import sample
from damagescore.photo.outline import fill_outline
from damagescore.scale.record import Mark, Scale

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Bytes = NDArray[np.uint8]

ALIKE = np.array([0.3, 0.06, 0.09], dtype=np.float32)
"""Log luma and log colour ratios within which a card is of one colour."""

DOT_AREA_MM = 3.2
"""Radius around a dot's centre in which some of its card shows."""

LARGEST_SHARE = 0.5
"""A region larger than this share of the photo is no card."""

RULE_ACROSS = 0.75
"""How far a rule's body may reach across its graduations, in their length along it."""

NEAR_SIDE = 0.15
"""Share of the photo's width within which a rule's graduations lie at its side."""

LEAST_SOLID = 0.88
"""Area over that of the convex hull: a card is a rectangle in perspective."""


def keep_out_areas(channels: Image, factor: float, scale: Scale) -> tuple[Points, ...]:
    """Polygons, in photo pixels, of the scale marks and the card they are on.

    Parameters
    ----------
    channels : ndarray of float32, shape (h, w, 3)
        Reduced photo: log luma, log red/luma, log blue/luma.
    factor : float
        Reduced pixels per photo pixel.
    scale : Scale

    Returns
    -------
    tuple of ndarray, shape (N, 2)
        The card where it stands out from what is around it, else the marks alone.
    """
    marks = [a for a in (_mark_area(m, scale) for m in scale.marks) if a is not None]
    if not marks:
        return ()
    seeds: Bytes = np.zeros(channels.shape[:2], np.uint8)
    for area in marks:
        fill_outline(seeds, (area + 0.5) * factor - 0.5, 1)
    margin = round(NEAR_SIDE * seeds.shape[1])
    reaching = bool(seeds[:, :margin].any() and seeds[:, -margin:].any())
    wide = scale.method == "rule" and reaching
    rules = [m for m in scale.marks if m.kind == "rule"]
    find = partial(_cards, channels, seeds, _millimetre(scale, factor), wide=wide)
    # A plate like the rule in front of it would be taken with it.
    boxes = [_rule_box(channels, m, factor, beyond=0.5) for m in rules]
    cards = [c for box in boxes for c in find(within=_filled(box, seeds.shape))] or find()
    if not cards:
        # A rule like the shims behind it: rather too much kept out than graduations for cracks.
        cards = [_rule_box(channels, m, factor, beyond=0.25) for m in rules]
    whole = [(c + 0.5) / factor - 0.5 for c in cards]
    return (*whole, *(a for a in marks if not _inside_any(a, whole)))


def _mark_area(mark: Mark, scale: Scale) -> Points | None:
    """The mark with a little of the card around it."""
    corners = np.asarray(mark.corners_px, dtype=np.float64).reshape(-1, 2)
    if len(corners) >= 3:
        hull = cv2.convexHull(corners.astype(np.float32)).reshape(-1, 2).astype(np.float64)
        middle = hull.mean(axis=0)
        return np.asarray(middle + 1.3 * (hull - middle))
    if mark.kind == "rule" and len(corners) == 2:
        along = corners[1] - corners[0]
        # Graduations are some millimetres long, to an unknown side of their ends.
        across = np.array([-along[1], along[0]]) * 0.01
        return np.vstack([corners + across, corners[::-1] - across])
    if mark.kind == "dot":
        radius = DOT_AREA_MM / max(scale.surface.mm_per_px_at(corners[0]), 1e-6)
        turn = np.linspace(0, 2 * math.pi, 16, endpoint=False)
        ring = np.column_stack([np.cos(turn), np.sin(turn)])
        return np.asarray(corners[0] + radius * ring)
    return None


def _rule_box(channels: Image, mark: Mark, factor: float, *, beyond: float) -> Points:
    """Where a rule's body may lie: beside the ends of its graduations, on their side.

    `beyond` is how far it may reach beyond both ends of the graduations, in their length.

    A body that is like the bench or the plate behind it is else not parted from them.
    """
    ends = (np.asarray(mark.corners_px, dtype=np.float64) + 0.5) * factor - 0.5
    along = ends[1] - ends[0]
    across = np.array([-along[1], along[0]])
    at = ends[0] + np.linspace(0, 1, 400)[:, None] * along
    grey = np.ascontiguousarray(channels[..., 0])
    rough = [
        float(np.abs(np.diff(sample(grey, *(at + side * 0.05 * across).T[:, None])[0])).mean())
        for side in (-1, 1)
    ]
    far = across * (1.0 if rough[1] > rough[0] else -1.0)
    first, last = ends[0] - beyond * along, ends[1] + beyond * along
    near = [first - 0.03 * far, last - 0.03 * far]
    return np.array([*near, last + RULE_ACROSS * far, first + RULE_ACROSS * far])


def _filled(area: Points, shape: tuple[int, ...]) -> Bytes:
    """1 inside an area."""
    mask = np.zeros(shape, np.uint8)
    fill_outline(mask, area, 1)
    return mask


def _millimetre(scale: Scale, factor: float) -> float:
    """Reduced pixels per millimetre at the marks."""
    at = np.mean([np.mean(m.corners_px, axis=0) for m in scale.marks], axis=0)
    return factor / max(scale.surface.mm_per_px_at(at), 1e-6)


def _cards(
    channels: Image, seeds: Bytes, px_per_mm: float, *, wide: bool, within: Bytes | None = None
) -> list[Points]:
    """Convex outlines (N, 2) of the cards, reduced pixels."""
    cards: list[Points] = []
    _, labels = cv2.connectedComponents(seeds)
    for k in range(1, int(labels.max()) + 1):
        seed = labels == k
        if any(_covers(card, seed) for card in cards):
            continue
        card = _card_around(channels, seed, px_per_mm, within, wide=wide)
        if card is not None:
            cards.append(card)
    return cards


def _card_around(
    channels: Image, seed: NDArray[np.bool_], px_per_mm: float, within: Bytes | None, *,
    wide: bool,
) -> Points | None:  # fmt: skip
    inside = channels[seed]
    bright = inside[inside[:, 0] >= np.percentile(inside[:, 0], 65)]
    colour = np.median(bright, axis=0)
    alike = np.asarray(cv2.inRange(channels, colour - ALIKE, colour + ALIKE), np.uint8) & 1
    close = cv2.getStructuringElement(cv2.MORPH_RECT, _kernel(0.35 * px_per_mm))
    alike = np.asarray(cv2.morphologyEx(alike, cv2.MORPH_CLOSE, close), np.uint8)
    alike = alike if within is None else alike & within
    for cut_mm in (0.6, 1.2, 2.0):
        kernel = cv2.getStructuringElement(cv2.MORPH_RECT, _kernel(cut_mm * px_per_mm))
        opened = np.asarray(cv2.morphologyEx(alike, cv2.MORPH_OPEN, kernel), np.uint8)
        card = _solid_part(opened, seed, wide=wide)
        if card is not None:
            return card
    return None


def _kernel(size: float) -> tuple[int, int]:
    odd = 2 * round(size / 2) + 1
    return odd, odd


def _solid_part(mask: Bytes, seed: NDArray[np.bool_], *, wide: bool) -> Points | None:
    """Outline of the part under the seed, if it is solid and not too large.

    It reaches from side to side of the photo only where a rule does (`wide`).
    """
    _, labels = cv2.connectedComponents(mask)
    under = labels[seed & (mask > 0)]
    if len(under) == 0:
        return None
    part = (labels == int(np.bincount(under).argmax())).astype(np.uint8)
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    largest = max(contours, key=cv2.contourArea)
    hull = cv2.convexHull(largest)
    area = float(cv2.contourArea(hull))
    solid = float(cv2.contourArea(largest)) / max(area, 1.0)
    if solid < LEAST_SOLID or area > LARGEST_SHARE * mask.size or area < 0.8 * seed.sum():
        return None
    x, width = hull[:, 0, 0], mask.shape[1]
    if not wide and x.min() <= 1 and x.max() >= width - 2:
        return None  # a plate of the card's colour
    points = hull.reshape(-1, 2).astype(np.float64)
    middle = points.mean(axis=0)
    away = points - middle
    # One pixel more: the blurred rim of the card.
    return np.asarray(middle + away * (1 + 1.5 / np.hypot(*away.T))[:, None])


def _covers(card: Points, seed: NDArray[np.bool_]) -> bool:
    rows, columns = np.nonzero(seed)
    middle = (float(columns.mean()), float(rows.mean()))
    return cv2.pointPolygonTest(card.astype(np.float32).reshape(-1, 1, 2), middle, False) > 0


def _inside_any(area: Points, cards: list[Points]) -> bool:
    x, y = area.mean(axis=0)
    return any(
        cv2.pointPolygonTest(c.astype(np.float32).reshape(-1, 1, 2), (x, y), False) > 0
        for c in cards
    )
