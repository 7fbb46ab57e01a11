"""Area, share and extent of an outlined patch on the surface, with its budget."""

import math
from collections.abc import Iterable, Mapping
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.unjudged import HIDDEN, Unjudged, amount
from damagescore.edge.record import Edge, Layer
from damagescore.errors import UsageError
from damagescore.photo.outline import fill_outline
from damagescore.photo.record import Photo
from damagescore.quantity import Contribution, Measured, NotMeasured, Quantity, from_budget
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Origin = Literal["auto", "traced", "drawn"]

CONTRAST = "contrast"
"""Line of the budget of an area that a photo shows too faintly."""

RAGGED_MM = 0.15
"""Ragged detail below this is not part of the border that an uncertainty acts on."""

AT_LAYER_MM = 0.2
"""A border this near to the layer's own border is known as well as that one is."""

U_POINT_MM = {"auto": 0.06, "traced": 0.15, "drawn": 0.15}
"""Local wander of an outline against the true border: a drawn one by a third of a grain."""

U_END_MM = 0.15
"""The same of the outermost point at either end, which is one place and no mean."""

WANDER_MM = 1.0
"""Length along the border over which that wander keeps its sign: about two grains."""

U_BORDER_MM = {"auto": 0.03, "traced": 0.1, "drawn": 0.1}
"""Common shift of the whole free border: where the threshold or the eye puts it."""

U_LAYER_MM = 0.04
"""Common shift of a border that follows the layer's own, about one pixel."""


def measure_area(
    polygon_px: Points,
    scale: Scale,
    *,
    edge: Edge,
    photo: Photo | None = None,  # noqa: ARG001 - same call as for the other kinds
    origin: str = "auto",
    u_unseen: float = 0.0,
    unjudged: Iterable[Unjudged] = (),
) -> dict[str, Quantity]:
    """Measure an outlined patch.

    Parameters
    ----------
    polygon_px : ndarray, shape (N, 2)
        Outline, photo pixels, N >= 3.
    scale : Scale
    edge : Edge
        Gives the layer the patch lies in.
    photo : Photo, optional
        Not needed: the outline holds all there is to measure.
    origin : "auto", "traced" or "drawn"
        Who set the outline.
    u_unseen : float
        Standard uncertainty of the share of a patch that an automatic outline took
        or left by too little contrast, 0 to 1.
    unjudged : iterable of Unjudged
        Parts that could not be judged; the share is that of the rest of the layer.

    Returns
    -------
    dict
        "area" (mm2, on the surface), "share_of_layer" (% of the visible, judged
        area of its layer) and "extent" (mm along the layer). The area's budget has
        "scale" (twice the relative uncertainty of a length), "outline" (wander of
        the border, independent from place to place), "threshold" (a shift
        common to the whole border) and, for a faint patch, "contrast".

    Raises
    ------
    UsageError
        When the outline has fewer than three points or no area.
    """
    outline = np.asarray(polygon_px, dtype=np.float64).reshape(-1, 2)
    area_mm2 = scale.surface.area_mm2(outline) if len(outline) >= 3 else 0.0
    if area_mm2 <= 0:
        raise UsageError(
            f"The outline has {len(outline)} points and encloses no area.",
            remedy="Draw at least three points around the damaged area.",
        )
    layer = layer_under(outline, edge)
    area = from_budget(
        area_mm2,
        _area_budget(outline, area_mm2, scale=scale, layer=layer, origin=origin)
        + _contrast_line(u_unseen * area_mm2),
        unit="mm2",
    )
    return {
        "area": area,
        "share_of_layer": _share(area, scale, edge=edge, layer=layer, unjudged=unjudged),
        "extent": _extent(outline, scale, edge=edge, layer=layer),
    }


def unseen_share(quantities: Mapping[str, Quantity]) -> float:
    """The `u_unseen` that a patch was measured with: its own, whatever it is measured on."""
    area = quantities.get("area")
    if not isinstance(area, Measured) or area.value <= 0:
        return 0.0
    return sum(c.u for c in area.budget if c.source == CONTRAST) / area.value


def layer_under(polygon_px: Points, edge: Edge) -> Layer | None:
    """Rubber layer that holds most of an outlined patch; None if no rubber is in it."""
    height, width = edge.shape
    low = np.clip(np.floor(polygon_px.min(axis=0)).astype(int), 0, [width - 1, height - 1])
    high = np.clip(np.ceil(polygon_px.max(axis=0)).astype(int) + 1, low + 1, [width, height])
    within = np.zeros((high[1] - low[1], high[0] - low[0]), dtype=np.uint8)
    fill_outline(within, polygon_px - low, 1)
    under = edge.layer_map[low[1] : high[1], low[0] : high[0]][within > 0]
    counts = {layer.index: int(np.sum(under == layer.index)) for layer in edge.rubber}
    best = max(counts, key=lambda index: counts[index], default=None)
    if best is None or counts[best] == 0:
        return None
    return next(layer for layer in edge.rubber if layer.index == best)


def _area_budget(
    outline: Points, area_mm2: float, *, scale: Scale, layer: Layer | None, origin: str
) -> tuple[Contribution, ...]:
    free_mm, bound_mm = _border_mm(outline, scale, layer)
    wander = U_POINT_MM[origin] * math.sqrt(WANDER_MM * free_mm)
    shift = U_BORDER_MM[origin] * free_mm
    along_layer = U_LAYER_MM * bound_mm
    return (
        Contribution(source="scale", u=2 * scale.u_relative_at(outline) * area_mm2),
        Contribution(source="outline", u=wander),
        Contribution(source="threshold", u=math.hypot(shift, along_layer)),
    )


def _contrast_line(u_mm2: float) -> tuple[Contribution, ...]:
    return (Contribution(source=CONTRAST, u=u_mm2),) if u_mm2 > 0 else ()


def _border_mm(outline: Points, scale: Scale, layer: Layer | None) -> tuple[float, float]:
    """Length of the border that is free and that follows the layer's border, mm."""
    mm = scale.surface.to_mm(outline)
    plain = cv2.approxPolyDP(mm.astype(np.float32).reshape(-1, 1, 2), RAGGED_MM, True)
    closed = np.vstack([plain[:, 0], plain[:1, 0]]).astype(np.float64)
    steps = np.hypot(*np.diff(closed, axis=0).T)
    if layer is None:
        return float(steps.sum()), 0.0
    middles = (closed[1:] + closed[:-1]) / 2
    bounds = [
        scale.surface.to_mm(x).astype(np.float32) for x in (layer.upper_px, layer.lower_px)
    ]
    near = [min(_distance(p, bound) for bound in bounds) < AT_LAYER_MM for p in middles]
    return float(steps[~np.array(near)].sum()), float(steps[np.array(near)].sum())


def _distance(point: Points, line: NDArray[np.float32]) -> float:
    """Distance from a point to an open polyline."""
    start, along = line[:-1].astype(np.float64), np.diff(line, axis=0).astype(np.float64)
    length2 = np.maximum(np.sum(along**2, axis=1), 1e-12)
    t = np.clip(np.sum((point - start) * along, axis=1) / length2, 0, 1)
    return float(np.min(np.hypot(*(start + t[:, None] * along - point).T)))


def visible_area_mm2(layer: Layer, edge: Edge, *, scale: Scale) -> float:
    """Area of the part of a layer that is in the photo and may be judged, mm2."""
    corner = np.maximum(np.floor(layer.polygon_px.min(axis=0)).astype(int) - 2, 0)
    end = np.maximum(np.ceil(layer.polygon_px.max(axis=0)).astype(int) + 3, corner)
    box = np.s_[corner[1] : end[1], corner[0] : end[0]]
    y, x = np.nonzero((edge.layer_map[box] == layer.index) & edge.judged[box])
    if len(x) == 0:
        return 0.0
    every = max(1, len(x) // 20000)  # the scale varies smoothly: 20 000 places are plenty
    places = np.column_stack([x[::every], y[::every]]).astype(np.float64) + corner
    x_step, y_step = np.array([0.5, 0.0]), np.array([0.0, 0.5])
    right = scale.surface.to_mm(places + x_step) - scale.surface.to_mm(places - x_step)
    down = scale.surface.to_mm(places + y_step) - scale.surface.to_mm(places - y_step)
    per_px = np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0])
    return float(per_px.mean() * len(x))


def _share(
    area: Measured,
    scale: Scale,
    *,
    edge: Edge,
    layer: Layer | None,
    unjudged: Iterable[Unjudged],
) -> Quantity:
    whole = 0.0 if layer is None else visible_area_mm2(layer, edge, scale=scale)
    if layer is not None:
        # What lies behind a mark is no part of the visible area to begin with.
        seen = [x for x in unjudged if x.layer == layer.index and x.reason != HIDDEN]
        whole = max(whole - sum(amount(x.area) for x in seen), min(area.value, whole))
    if whole <= 0:
        return NotMeasured(reason="The outline lies in no rubber layer.", unit="%")
    # The scale cancels in a ratio of two areas of one photo.
    lines = tuple(
        Contribution(source=c.source, u=100 * c.u / whole)
        for c in area.budget
        if c.source != "scale"
    )
    return from_budget(100 * area.value / whole, lines, unit="%")


def _extent(outline: Points, scale: Scale, *, edge: Edge, layer: Layer | None) -> Quantity:
    mm = scale.surface.to_mm(outline)
    along = _direction_mm(outline, scale, edge=edge, layer=layer)
    reach = mm @ along
    length = float(reach.max() - reach.min())
    ends = math.sqrt(2) * U_END_MM
    lines = (
        Contribution(source="scale", u=scale.u_relative_at(outline) * length),
        Contribution(source="ends", u=ends),
    )
    return from_budget(length, lines, unit="mm")


def _direction_mm(outline: Points, scale: Scale, *, edge: Edge, layer: Layer | None) -> Points:
    """Unit vector along the layers in the metric frame at the patch, shape (2,)."""
    middle = outline.mean(axis=0)
    step = 20 * edge.frame[0]
    if layer is not None and len(layer.upper_px) >= 2:
        x = layer.upper_px[:, 0]
        near = int(np.clip(np.searchsorted(x, middle[0]), 1, len(x) - 1))
        chord = layer.upper_px[near] - layer.upper_px[near - 1]
        norm = float(np.hypot(*chord))
        step = 20 * chord / norm if norm > 0 else step
    ends = scale.surface.to_mm(np.array([middle - step, middle + step]))
    along = ends[1] - ends[0]
    return np.asarray(along / np.hypot(*along))
