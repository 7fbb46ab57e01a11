"""How much of a damage lies in given arcs: cut along angles, measured on the surface."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from damagescore.around.arcs import Arc, covers
from damagescore.around.view import RoundPhoto, Sighting, denser
from damagescore.photo.outline import signed_area

Points = NDArray[np.float64]


def share_beyond(sighting: Sighting, photo: RoundPhoto, arcs: Sequence[Arc]) -> float:
    """Share, 0 to 1, of a damage's length or area that lies in some arcs.

    Lengths and areas are those on the unrolled surface. An area is cut by half planes,
    which is exact for its outline of straight pieces (Sutherland and Hodgman 1974).
    """
    finding = sighting.finding
    if finding.polygon_px is not None:
        return _area_share(denser(np.vstack([finding.polygon_px, finding.polygon_px[:1]])),
                           photo, arcs, middle_deg=_middle(sighting))  # fmt: skip
    inside = whole = 0.0
    for line in finding.lines_px:
        points = denser(line)
        surface = _surface(points, photo)
        steps = np.hypot(*np.diff(surface, axis=0).T)
        angles = photo.angles_deg(points)
        middles = (angles[:-1] + angles[1:]) / 2
        flags = np.array([covers(arcs, float(a)) for a in middles], dtype=bool)
        inside += float(steps[flags].sum())
        whole += float(steps.sum())
    return inside / whole if whole > 0 else 0.0


def _middle(sighting: Sighting) -> float:
    return sighting.arc[0] + sighting.arc[1] / 2


def _surface(points_px: Points, photo: RoundPhoto) -> Points:
    assert photo.scale is not None
    return photo.scale.surface.to_mm(points_px)


def _area_share(
    outline_px: Points, photo: RoundPhoto, arcs: Sequence[Arc], *, middle_deg: float
) -> float:
    angles = photo.angles_deg(outline_px)
    # On a cylinder arc and height are a plane; its scale does not matter to a share.
    surface = _surface(outline_px, photo)
    assert photo.scale is not None
    turn = math.radians(photo.scale.surface.axis_deg)
    height = surface @ np.array([-math.sin(turn), math.cos(turn)])
    plane = np.column_stack([angles, height])
    whole = abs(signed_area(plane))
    if whole <= 0:
        return 0.0
    inside = 0.0
    for start, extent in arcs:
        # The turn of the circle that is nearest to the outline.
        shift = 360.0 * round((middle_deg - (start + extent / 2)) / 360.0)
        shift += 360.0 * round((float(angles.mean()) - middle_deg) / 360.0)
        inside += _area_between(plane, start + shift, start + extent + shift)
    return min(inside / whole, 1.0)


def _area_between(outline: Points, low: float, high: float) -> float:
    """Area of the part of an outline whose first coordinate lies between two values."""
    right = clipped(outline, low, keep_above=True)
    return abs(signed_area(clipped(right, high, keep_above=False))) if len(right) else 0.0


def clipped(outline: Points, at: float, *, keep_above: bool) -> Points:
    """An outline (N, 2) cut at a value of its first coordinate; (0, 2) if nothing is left."""
    sign = 1.0 if keep_above else -1.0
    kept: list[Points] = []
    for one, other in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        first, second = sign * (one[0] - at), sign * (other[0] - at)
        if first >= 0:
            kept.append(one)
        if first * second < 0:
            kept.append(one + (other - one) * (first / (first - second)))
    return np.array(kept) if kept else np.zeros((0, 2))
