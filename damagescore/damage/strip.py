"""A rubber layer straightened into a rectangle, for finding lines in it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.edge.record import Edge, Layer
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale
from damagescore.side_by_side import side_by_side

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

FINEST_PX_PER_MM = 25.0
"""A crack of 0.08 mm then covers two pixels; finer sampling finds no more, only slower."""

RIM_MM = 0.2

MOST_COLUMNS = 16_000

COVER = 2.4
"""What is this many times as bright as rubber there and ends sharply, lies on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One layer resampled so that columns run along it and rows across it.

    Parameters
    ----------
    layer : int
        Index of the layer.
    grey : ndarray of float32, shape (rows, columns)
    judged : ndarray of bool, shape (rows, columns)
        True where the rubber may be judged.
    px_per_mm : float
        Samples of the strip per millimetre, along and across.
    along, across : ndarray, shape (2,)
        Unit vectors in the photo.
    start_px : float
        Position along of column 0, photo pixels; `step_px` photo pixels a column.
    upper_px, lower_px : ndarray, shape (columns,)
        Position across of both borders, photo pixels.
    """

    layer: int
    grey: Image
    judged: Mask
    px_per_mm: float
    along: Points
    across: Points
    start_px: float
    step_px: float
    upper_px: Points
    lower_px: Points

    def to_photo(self, points: Points) -> Points:
        """Strip positions (column, row), shape (N, 2), to photo pixels."""
        columns, rows = np.asarray(points, dtype=np.float64).T
        at = np.arange(len(self.upper_px))
        upper = np.interp(columns, at, self.upper_px)
        lower = np.interp(columns, at, self.lower_px)
        height = upper + (lower - upper) * (rows + 0.5) / self.grey.shape[0]
        ahead = self.start_px + self.step_px * columns
        return np.asarray(ahead[:, None] * self.along + height[:, None] * self.across)


def blurred(image: Image, spread_px: float) -> Image:
    """Gaussian blur."""
    return np.asarray(cv2.GaussianBlur(image, (0, 0), spread_px), np.float32)


def border(curve_px: Points, along: Points, across: Points) -> tuple[Points, Points]:
    """Positions along (ascending) and across of a layer's border, photo pixels."""
    s, v = curve_px @ along, curve_px @ across
    order = np.argsort(s, kind="stable")
    return s[order], v[order]


def strips_of(
    photo: Photo, edge: Edge, scale: Scale, *, exclude: Mask | None = None
) -> list[Strip]:
    """Straighten every rubber layer that the photo shows.

    Parameters
    ----------
    exclude : ndarray of bool, shape (H, W), optional
        True where nothing may be found, for instance in crumbled areas.
    """
    judged = edge.judged if exclude is None else edge.judged & ~exclude
    covered = _covered(photo.grey, judged, scale.mm_per_px)
    judged = judged if covered is None else judged & ~covered
    made = side_by_side(lambda layer: _strip(photo, edge, layer, scale, judged), edge.rubber)
    return [s for s in made if s is not None]


def _covered(grey: Image, judged: Mask, mm_per_px: float) -> Mask | None:
    """Where something far brighter than the rubber, 0.5 mm across or more, lies on it.

    None where nothing does.

    A card or a rule that the edge search did not take out has dark lines of its own.
    """
    height, width = grey.shape
    coarse = max(1, round(0.16 / mm_per_px))
    size = (max(1, width // coarse), max(1, height // coarse))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    flags = judged.view(np.uint8)
    on_rubber = cv2.resize(flags, size, interpolation=cv2.INTER_NEAREST) > 0
    if on_rubber.sum() < 50:
        return None
    light = _light(np.asarray(small, np.float32), on_rubber)
    bright = ((small > COVER * light) & on_rubber).astype(np.uint8)
    solid = cv2.morphologyEx(bright, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    # Its graduations lie between bright pieces; its rim has a shadow.
    solid = cv2.morphologyEx(solid, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    beside = on_rubber & (bright == 0)
    solid = _with_sharp_edge(np.asarray(solid, np.uint8), np.asarray(small, np.float32), beside)
    if not solid.any():
        return None
    solid = cv2.dilate(solid, np.ones((5, 5), np.uint8))
    return cv2.resize(solid, (width, height), interpolation=cv2.INTER_NEAREST) > 0


def _light(grey: Image, on_rubber: Mask) -> Image:
    """How bright sound rubber is at each place: a smooth surface through most of it.

    Quadratic in both directions on a logarithmic scale, by least absolute distances
    (weights turned until they settle), twice as strict below as above: a third of the
    places lie under it, so that a card does not lift it. One level for the whole photo
    would take well lit rubber for a card where the rest lies in the shade.
    """
    rows, columns = np.nonzero(on_rubber)
    some = slice(None, None, max(1, len(rows) // 4000))
    terms = _quadratic(rows[some], columns[some], grey.shape)
    level = np.log(np.maximum(grey[rows[some], columns[some]], 1.0))
    weight = np.ones(len(level))
    for _ in range(12):
        root = np.sqrt(weight)
        solved = np.linalg.lstsq(terms * root[:, None], level * root, rcond=None)[0]
        above = level - terms @ solved
        weight = np.where(above > 0, 1.0, 2.0) / np.maximum(np.abs(above), 0.02)
    y, x = np.indices(grey.shape).reshape(2, -1)
    light = np.exp(_quadratic(y, x, grey.shape) @ solved).reshape(grey.shape)
    return np.asarray(light, np.float32)


def _quadratic(
    rows: NDArray[np.intp], columns: NDArray[np.intp], shape: tuple[int, ...]
) -> Points:
    y, x = 2 * rows / shape[0] - 1, 2 * columns / shape[1] - 1
    return np.column_stack([np.ones(len(x)), x, y, x * x, x * y, y * y])


def _with_sharp_edge(solid: NDArray[np.uint8], grey: Image, beside: Mask) -> NDArray[np.uint8]:
    """Keep pieces that end within 0.3 mm: glare on rubber fades out, a card does not."""
    count, label = cv2.connectedComponents(solid, connectivity=8)
    kept = np.zeros_like(solid)
    wide, narrow = np.ones((7, 7), np.uint8), np.ones((3, 3), np.uint8)
    for k in range(1, count):
        piece = (label == k).astype(np.uint8)
        outside = (cv2.dilate(piece, wide) > cv2.dilate(piece, narrow)) & beside
        if not outside.any() or np.median(grey[outside]) < 0.6 * np.median(grey[piece > 0]):
            kept |= piece
    return kept


def _strip(photo: Photo, edge: Edge, layer: Layer, scale: Scale, judged: Mask) -> Strip | None:
    along, across = edge.frame
    (s_up, v_up), (s_low, v_low) = (
        border(c, along, across) for c in (layer.upper_px, layer.lower_px)
    )
    first, last = _visible(s_up, s_low, photo, along)
    mm_per_px = scale.surface.mm_per_px_at(_middle(layer))
    px_per_mm = min(
        FINEST_PX_PER_MM, 1 / mm_per_px, MOST_COLUMNS / max(1, last - first) / mm_per_px
    )
    step = 1 / (px_per_mm * mm_per_px)
    at = np.arange(first, last, step)
    upper, lower = np.interp(at, s_up, v_up), np.interp(at, s_low, v_low)
    rows = round(float(np.median(lower - upper)) / step)
    if rows < 5 or len(at) < 20:
        return None
    share = (np.arange(rows) + 0.5) / rows
    height = upper + np.outer(share, lower - upper)
    x = (at * along[0] + height * across[0]).astype(np.float32)
    y = (at * along[1] + height * across[1]).astype(np.float32)
    grey, kept = _sample(photo.grey, judged, x, y, step=step, mm_step=1 / px_per_mm)
    return Strip(
        layer=layer.index, grey=grey, judged=kept, px_per_mm=px_per_mm, along=along,
        across=across, start_px=first, step_px=step, upper_px=upper, lower_px=lower,
    )  # fmt: skip


def _middle(layer: Layer) -> Points:
    return np.asarray((layer.upper_px.mean(axis=0) + layer.lower_px.mean(axis=0)) / 2)


def _visible(s_up: Points, s_low: Points, photo: Photo, along: Points) -> tuple[float, float]:
    """Where the layer starts and ends along, cut to the photo."""
    right, bottom = photo.width - 1, photo.height - 1
    ahead = np.array([[0, 0], [right, 0], [0, bottom], [right, bottom]]) @ along
    return max(s_up[0], s_low[0], ahead.min()), min(s_up[-1], s_low[-1], ahead.max())


def _sample(
    grey: Image, judged: Mask, x: Image, y: Image, *, step: float, mm_step: float
) -> tuple[Image, Mask]:
    """Sample only the part of the photo that the strip needs; blur first when it shrinks."""
    height, width = grey.shape
    pad = 8
    x0, x1 = (int(np.clip(f, 0, width)) for f in (x.min() - pad, x.max() + pad + 1))
    y0, y1 = (int(np.clip(f, 0, height)) for f in (y.min() - pad, y.max() + pad + 1))
    part = grey[y0:y1, x0:x1]
    if step > 1.2:
        part = blurred(part, 0.4 * step)
    mask = judged[y0:y1, x0:x1].astype(np.uint8)
    sampled = cv2.remap(part, x - x0, y - y0, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    kept = cv2.remap(mask, x - x0, y - y0, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT)
    inner = _without_rims(np.asarray(kept, np.uint8), round(RIM_MM / mm_step))
    return np.asarray(sampled, np.float32), inner


def _without_rims(kept: NDArray[np.uint8], rim_px: int) -> Mask:
    """Drop the rim of a card or a smear, which may lie in its shadow.

    The layer's own borders stay: bond gaps run there.
    """
    filled = cv2.morphologyEx(
        cv2.copyMakeBorder(kept, 3, 3, 3, 3, cv2.BORDER_CONSTANT, value=1),
        cv2.MORPH_CLOSE,
        np.ones((5, 5), np.uint8),
    )
    kernel = np.ones((2 * rim_px + 1, 2 * rim_px + 1), np.uint8)
    inner = cv2.erode(filled, kernel, borderType=cv2.BORDER_CONSTANT, borderValue=1)
    return np.asarray(inner[3:-3, 3:-3].astype(bool) & kept.astype(bool))
