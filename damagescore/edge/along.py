"""Positions along the layers, in millimetres on the surface."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.record import Edge
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Span = tuple[float, float]


def frame_mm(points_px: Points, edge: Edge, scale: Scale) -> tuple[Points, Points]:
    """Positions (N,) of photo pixels (N, 2) along and across the layers, mm."""
    start = np.array(scale.centre_px)
    along, _ = edge.frame
    step = np.diff(scale.surface.to_mm(np.vstack([start, start + along])), axis=0)[0]
    axis = step / np.hypot(*step)
    mm = scale.surface.to_mm(points_px)
    return np.asarray(mm @ axis), np.asarray(mm @ np.array([-axis[1], axis[0]]))


def along_mm(points_px: Points, edge: Edge, scale: Scale) -> Points:
    """Positions (N,) of photo pixels (N, 2) along the layers, mm."""
    return frame_mm(points_px, edge, scale)[0]


def span_mm(points_px: Points, edge: Edge, scale: Scale) -> Span:
    """First and last position of photo pixels (N, 2) along the layers, mm."""
    at = along_mm(points_px, edge, scale)
    return float(at.min()), float(at.max())


def union_length(spans: Iterable[Span]) -> float:
    """Length that the spans cover together, overlaps counted once."""
    covered, reached = 0.0, -np.inf
    for start, end in sorted(spans):
        covered += max(0.0, end - max(start, reached))
        reached = max(reached, end)
    return covered
