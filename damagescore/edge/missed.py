"""A shim that was missed: where it lies, from one click."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from damagescore.edge.correct import boundaries_of
from damagescore.edge.record import Edge, Layer
from damagescore.edge.region import across_layer
from damagescore.edge.sampling import sample
from damagescore.errors import EdgeError
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

STATIONS = 240
BLOCKS = 12
"""Stretches along the layer in which each side of the shim is placed by itself."""

STANDS_OUT = 4.0
"""Robust spreads by which both sides have to differ from their surroundings to be followed."""

USUAL_SHIM_MM = 1.0
"""Where the photo shows no other shim; common practice, no source. The inspector drags it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShimPlace:
    """Sides of a shim in photo pixels, each of shape (N, 2), as `add_shim` takes them."""

    upper_px: Points
    lower_px: Points
    outer_px: Points | None = None


def shim_at(photo: Photo, edge: Edge, scale: Scale, *, point_px: Points) -> ShimPlace:
    """Propose where the missed shim under a click lies.

    In a rubber layer both sides are put where the grey level steps most, along and across
    the layer, within half to twice the thickness of the other shims. Where no such pair of
    steps stands out the shim gets the usual thickness about the click. Beyond the stack it
    gets the usual thickness from the stack's end on, with a usual rubber layer behind it.
    It is a proposal: the inspector looks at it and drags its sides.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    scale : Scale
    point_px : ndarray, shape (2,)

    Raises
    ------
    EdgeError
        On a click in a shim, beside the stack, or too near the photo's border.
    """
    x, y = np.clip(np.round(point_px).astype(int), 0, np.array(edge.shape)[::-1] - 1)
    index = int(edge.layer_map[y, x])
    layer = next((x for x in edge.layers if x.index == index), None)
    if layer is None:
        return _beyond(edge, scale, point_px)
    if layer.kind == "shim":
        raise EdgeError(
            f"Layer {index} is a shim already.", remedy="Click in the rubber layer."
        )
    return _within(photo, edge, layer, scale, point_px)


def _within(
    photo: Photo, edge: Edge, layer: Layer, scale: Scale, point_px: Points
) -> ShimPlace:
    shares = (np.arange(STATIONS) + 0.5) / STATIONS
    ends = across_layer(layer, shares, (0.0, 1.0))
    upper, lower = ends[:, 0], ends[:, 1]
    high_px = float(np.median(np.hypot(*(lower - upper).T)))
    rows = max(24, round(2 * high_px))
    parts = (np.arange(rows) + 0.5) / rows
    places = across_layer(layer, shares, tuple(parts))
    grey = sample(photo.grey, places[..., 0], places[..., 1])
    inside = edge.allows(places.reshape(-1, 2)).reshape(grey.shape)
    fill = float(np.median(grey[inside] if inside.any() else grey))
    # Smoothed over about a pixel; what is kept out of judging shows no step.
    steps = gaussian_filter1d(np.where(inside, grey, fill), 2.0, axis=1, order=1)
    thick = min(_usual_px(edge, "shim", scale) / high_px, 0.6) * rows
    click = _row_of(point_px, upper, lower) * rows
    pair = _pair(np.median(steps, axis=0), click, thick)
    if pair is None:
        first = float(np.clip(click - thick / 2, 1, rows - thick - 1))
        at = np.tile([first, first + thick], (STATIONS, 1))
    else:
        at = np.column_stack([_followed(steps, row, reach=0.4 * thick) for row in pair])
    at = np.clip((at + 0.5) / rows, 0.02, 0.98)[..., None]
    sides = upper[:, None] * (1 - at) + lower[:, None] * at
    keep = slice(None, None, 4)
    return ShimPlace(upper_px=sides[keep, 0], lower_px=sides[keep, 1])


def _pair(step: Points, click: float, thick: float) -> tuple[int, int] | None:
    """Rows of the two opposite steps about the click that stand out most."""
    spread = 1.4826 * float(np.median(np.abs(step - np.median(step)))) + 1e-6
    rows = np.arange(len(step))
    above = rows[(rows < click + 2) & (rows > click - 2 * thick)]
    below = rows[(rows > click - 2) & (rows < click + 2 * thick)]
    first, last = np.meshgrid(above, below, indexing="ij")
    gap = last - first
    fits = (gap >= 0.5 * thick) & (gap <= 2 * thick)
    strength = np.minimum(np.abs(step[first]), np.abs(step[last])) * fits
    strength[step[first] * step[last] >= 0] = 0.0
    if not strength.size or strength.max() < STANDS_OUT * spread:
        return None
    best = np.unravel_index(int(np.argmax(strength)), strength.shape)
    return int(first[best]), int(last[best])


def _followed(steps: Points, row: int, *, reach: float) -> Points:
    """Row of one side at each station: the same step, block by block, without outliers."""
    sign = np.sign(np.median(steps[:, row]))
    near = max(2, round(reach))
    low, high = max(0, row - near), min(steps.shape[1], row + near + 1)
    blocks = np.array_split(np.arange(len(steps)), BLOCKS)
    found = [low + int(np.argmax(sign * np.median(steps[b, low:high], axis=0))) for b in blocks]
    even = median_filter(np.array(found, dtype=float), size=5, mode="nearest")
    middles = [float(b.mean()) for b in blocks]
    return np.asarray(np.interp(np.arange(len(steps)), middles, even))


def _row_of(point_px: Points, upper: Points, lower: Points) -> float:
    """Share of the thickness, from the upper side, at which a point lies."""
    middle = (upper + lower) / 2
    near = int(np.argmin(np.hypot(*(middle - point_px).T)))
    down = lower[near] - upper[near]
    return float(np.clip((point_px - upper[near]) @ down / (down @ down), 0.0, 1.0))


def _usual_px(edge: Edge, kind: str, scale: Scale) -> float:
    """Median thickness of the layers of a kind, photo pixels."""
    _, across = edge.frame
    known = [
        abs(float((x.lower_px @ across).mean() - (x.upper_px @ across).mean()))
        for x in edge.layers
        if x.kind == kind
    ]
    return float(np.median(known)) if known else USUAL_SHIM_MM / scale.mm_per_px


def _beyond(edge: Edge, scale: Scale, point_px: Points) -> ShimPlace:
    along, across = edge.frame
    curves = boundaries_of(edge)
    at, height = float(point_px @ along), float(point_px @ across)
    reach = np.vstack(curves) @ along
    lowest, highest = (float((c @ across).mean()) for c in (curves[0], curves[-1]))
    if not reach.min() <= at <= reach.max() or highest < height < lowest:
        raise EdgeError(
            "The click lies in no layer and neither above nor below the stack.",
            remedy="Click in the rubber layer in which the shim was missed.",
        )
    shim, rubber = (_usual_px(edge, kind, scale) for kind in ("shim", "rubber"))
    near, way = (curves[-1], -across) if height <= highest else (curves[0], across)
    far, outer = near + shim * way, near + (shim + rubber) * way
    low, high = np.zeros(2), np.array(edge.shape)[::-1] - 1.0
    if ((outer < low) | (outer > high)).any(axis=1).mean() > 0.5:
        raise EdgeError(
            "Beyond the stack there is too little of the photo for a shim and rubber.",
            remedy="Take a photo that shows the whole stack.",
        )
    sides = (far, near) if height <= highest else (near, far)
    return ShimPlace(upper_px=sides[0], lower_px=sides[1], outer_px=outer)
