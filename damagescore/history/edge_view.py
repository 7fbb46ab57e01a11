"""The edge of one photo laid flat in millimetres: layers as rows, position along as columns."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.edge.along import along_mm, frame_mm
from damagescore.edge.record import Edge, Layer
from damagescore.errors import EdgeError
from damagescore.photo.record import Photo
from damagescore.quantity import Measured
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

PX_PER_MM = 12.0
"""Enough for rags at the shims and marks in the rubber, which register the photos."""

LONGEST_MM = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeView:
    """One edge laid flat.

    Every layer has the thickness that it measures on average: the borders of layers and
    shims are straight rows, whatever the tilt and the bow of the photo.

    Parameters
    ----------
    grey : ndarray of float32, shape (rows, columns)
    seen : ndarray of bool, shape (rows, columns)
        False outside the photo and where a card or something else lies on the edge.
    start_mm : float
        Position along of column 0.
    bounds_mm : tuple of float
        Heights of the layer borders from the top of the view, top first.
    edge : Edge
    scale : Scale
    """

    grey: Image
    seen: Mask
    start_mm: float
    bounds_mm: tuple[float, ...]
    edge: Edge
    scale: Scale

    @property
    def span_mm(self) -> tuple[float, float]:
        """Positions along that the photo shows over most of the stack."""
        columns = np.flatnonzero(self.seen.mean(axis=0) > 0.5)
        if not len(columns):
            return self.start_mm, self.start_mm
        first, last = columns[[0, -1]] / PX_PER_MM + self.start_mm
        return float(first), float(last)

    def place(self, points_px: Points) -> Points:
        """Photo pixels (N, 2) to positions along and heights from the top, mm, (N, 2)."""
        s, v = frame_mm(points_px, self.edge, self.scale)
        levels = []
        for curve in _borders(self.edge):
            at, height = frame_mm(curve, self.edge, self.scale)
            order = np.argsort(at)
            levels.append(np.interp(s, at[order], height[order]))
        known = np.array(levels)
        heights = [
            np.interp(y, known[:, i], self.bounds_mm) for i, y in enumerate(np.asarray(v))
        ]
        return np.column_stack([s, heights])


def edge_view(
    photo: Photo, edge: Edge, scale: Scale, *, thickness_mm: Sequence[float] | None = None
) -> EdgeView:
    """Lay the edge of a photo flat.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    scale : Scale
    thickness_mm : sequence of float, optional
        Of each layer, the top one first; as measured by default. Two views with the same
        numbers have the same rows.

    Raises
    ------
    EdgeError
        When the photo shows no layers, or more than 600 mm of them.
    """
    if not edge.layers:
        raise EdgeError("The photo shows no layers.", remedy="Use a photo with layers.")
    heights = tuple(thickness_mm or thicknesses(edge, scale))
    borders = _borders(edge)
    reaches = np.array([_reach(c, edge, scale) for c in borders])
    start, end = float(reaches[:, 0].max()), float(reaches[:, 1].min())
    if not 0 < end - start <= LONGEST_MM:
        raise EdgeError(
            f"The layers are seen along {end - start:.0f} mm; 0 to {LONGEST_MM:.0f} mm can be.",
            remedy="Check the scale of the photo.",
        )
    columns = int((end - start) * PX_PER_MM)
    at = start + np.arange(columns) / PX_PER_MM
    lines = [_on_border(c, at, edge, scale) for c in borders]
    places = np.concatenate(
        [
            _between(a, b, max(round(h * PX_PER_MM), 2))
            for a, b, h in zip(lines[:-1], lines[1:], heights, strict=True)
        ]
    ).astype(np.float32)
    grey = cv2.remap(
        photo.grey,
        places[..., 0],
        places[..., 1],
        cv2.INTER_AREA,
        borderMode=cv2.BORDER_CONSTANT,
    )
    rows = [max(round(h * PX_PER_MM), 2) / PX_PER_MM for h in heights]
    return EdgeView(
        grey=np.asarray(grey, np.float32), seen=_seen(places, edge), start_mm=start,
        bounds_mm=tuple(np.concatenate([[0.0], np.cumsum(rows)]).tolist()),
        edge=edge, scale=scale,
    )  # fmt: skip


def thicknesses(edge: Edge, scale: Scale) -> list[float]:
    """Mean thickness of each layer in mm, the top one first."""
    return [_thickness(x, scale) for x in reversed(edge.layers)]


def _thickness(layer: Layer, scale: Scale) -> float:
    if isinstance(layer.thickness, Measured):
        return layer.thickness.value
    return float(np.ptp(layer.polygon_px[:, 1])) * scale.mm_per_px


def _borders(edge: Edge) -> list[Points]:
    """Curves between the layers in the photo, the top one first."""
    down = list(reversed(edge.layers))
    between = [(a.lower_px, b.upper_px) for a, b in pairwise(down)]
    return [down[0].upper_px, *(_middle(a, b) for a, b in between), down[-1].lower_px]


def _middle(a: Points, b: Points) -> Points:
    """Two layers name nearly the same curve; where they were sampled alike, its middle."""
    return (a + b) / 2 if a.shape == b.shape else a


def _reach(curve: Points, edge: Edge, scale: Scale) -> tuple[float, float]:
    at = along_mm(curve, edge, scale)
    return float(at.min()), float(at.max())


def _on_border(curve: Points, at_mm: Points, edge: Edge, scale: Scale) -> Points:
    """Photo pixels (columns, 2) of a border at positions along."""
    at = along_mm(curve, edge, scale)
    order = np.argsort(at)
    return np.column_stack([np.interp(at_mm, at[order], curve[order, i]) for i in (0, 1)])


def _between(upper: Points, lower: Points, rows: int) -> Points:
    share = ((np.arange(rows) + 0.5) / rows)[:, None, None]
    return np.asarray(upper * (1 - share) + lower * share)


def _seen(places: NDArray[np.float32], edge: Edge) -> Mask:
    height, width = edge.shape
    x, y = places[..., 0], places[..., 1]
    inside = (x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1)
    flat = places.reshape(-1, 2).astype(np.float64)
    free = edge.allows(flat).reshape(x.shape) if _any_area(edge) else np.ones(x.shape, bool)
    return np.asarray(inside & free)


def _any_area(edge: Edge) -> bool:
    return bool(edge.keep_out_px or edge.drawn_keep_out_px or edge.region_px is not None)
