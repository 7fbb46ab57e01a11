"""What may be judged: the inspector's region and keep-outs, and what is left of a layer."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.along import along_mm
from damagescore.edge.record import Edge, Layer
from damagescore.errors import EdgeError
from damagescore.photo.along import at_run, run_of
from damagescore.runs import runs_of_true
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

STATIONS = 400
"""Places along a layer at which it is asked whether it may be judged there."""

ACROSS = (0.1, 0.3, 0.5, 0.7, 0.9)
"""Shares of the thickness looked at; most of them have to be free."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Where the inspector lets layers be looked for and judged, photo pixels.

    Parameters
    ----------
    region_px : ndarray, shape (N, 2), or None
    keep_out_px : tuple of ndarray, shape (N, 2)
    """

    region_px: Points | None = None
    keep_out_px: tuple[Points, ...] = ()


NO_LIMITS = Limits()


def with_region(
    edge: Edge, *, region_px: Points | None = None, keep_out_px: Sequence[Points] = ()
) -> Edge:
    """Judge only inside a region and outside some areas that the inspector drew.

    Both replace what was drawn before, so that a drawing can be changed or taken back;
    the areas that the program itself keeps out (the scale card) stay.

    Parameters
    ----------
    edge : Edge
    region_px : ndarray, shape (N, 2), or None
        Outline of the region in photo pixels; None judges all of the photo.
    keep_out_px : sequence of ndarray, shape (N, 2)
        Outlines of areas that must not be judged, photo pixels.

    Raises
    ------
    EdgeError
        For an outline with fewer than three points, or where no rubber is left.
    """
    region = None if region_px is None else outline_of(region_px, "region")
    drawn = tuple(outline_of(x, "area to keep out") for x in keep_out_px)
    found = replace(edge, region_px=region, drawn_keep_out_px=drawn)
    if edge.rubber and not any(free_share(x, found).any() for x in edge.rubber):
        raise EdgeError(
            "No rubber is left to judge: the region and the areas kept out leave none.",
            remedy="Draw the region over the rubber, or keep less of it out.",
        )
    return found


def outline_of(points_px: Points, name: str) -> Points:
    """A drawn outline as an array (N, 2), checked.

    Raises
    ------
    EdgeError
        With fewer than three points, or points that are not finite.
    """
    points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    if len(points) < 3 or not np.isfinite(points).all():
        raise EdgeError(
            f"The outline of the {name} has {len(points)} points; it needs three or more.",
            remedy="Draw it with three clicks or more.",
        )
    return points


def visible_spans_mm(layer: Layer, edge: Edge, scale: Scale) -> tuple[tuple[float, float], ...]:
    """Stretches along a layer in which it is in the photo and may be judged, mm.

    Parameters
    ----------
    layer : Layer
    edge : Edge
    scale : Scale

    Returns
    -------
    tuple of (start, end)
        Positions as those of `along_mm`, rising; empty where nothing may be judged.
        They are as fine as a 400th of the layer's length.
    """
    free = free_share(layer, edge)
    if not free.any():
        return ()
    places = across_layer(layer, np.linspace(0.0, 1.0, STATIONS + 1), (0.5,))[:, 0]
    limit = np.array([edge.shape[1] - 1, edge.shape[0] - 1])
    at = along_mm(np.clip(places, 0, limit), edge, scale)
    spans = [tuple(sorted((float(at[a]), float(at[b])))) for a, b in runs_of_true(free)]
    return tuple((a, b) for a, b in sorted(spans))


def visible_length_mm(layer: Layer, edge: Edge, scale: Scale) -> float:
    """Length along a layer on which it may be judged, mm."""
    return sum(end - start for start, end in visible_spans_mm(layer, edge, scale))


def free_share(layer: Layer, edge: Edge) -> Mask:
    """Whether most of the thickness may be judged, for each station (400,)."""
    middles = (np.arange(STATIONS) + 0.5) / STATIONS
    places = across_layer(layer, middles, ACROSS)
    free = edge.allows(places.reshape(-1, 2)).reshape(places.shape[:2])
    return np.asarray(2 * free.sum(axis=1) > len(ACROSS))


def across_layer(layer: Layer, shares: Points, across: Sequence[float]) -> Points:
    """Photo pixels (K, A, 2) at shares of a layer's length and of its thickness."""
    upper, lower = (_at_shares(c, shares) for c in (layer.upper_px, layer.lower_px))
    part = np.asarray(across)[None, :, None]
    return np.asarray(upper[:, None] * (1 - part) + lower[:, None] * part)


def _at_shares(curve: Points, shares: Points) -> Points:
    return at_run(curve, shares * run_of(curve)[-1])
