"""What the turn of a round edge does to lengths, and where it is too far to be judged."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from damagescore.quantity import Contribution
from damagescore.scale.surface import Points, SurfaceMap

TURN_LIMIT_DEG = 50.0
"""Beyond this turn from the facing line a round edge is not judged."""

FACING = "place of the line that faces the camera"
DISTANCE = "distance of the camera from the round edge"
AIM = "direction from which the round edge is seen"
ROUND_LINES = (FACING, DISTANCE, AIM)

STEP_SHARE = 0.01
"""Length over which arcs are compared, in radii."""

STATED_TURN_DEG = 35.0
"""The scale of a round edge is stated over this turn to both sides; what lies farther aside
has a larger uncertainty of its own."""

LARGEST_CHANGE = 1.0
"""A place at the horizon has no length left; it is held to be wrong by all of itself."""


def round_lines(
    surface: SurfaceMap,
    points_px: Points,
    *,
    u_facing_mm: float,
    u_log_focal: float,
    u_tilt_deg: float,
) -> tuple[Contribution, ...]:
    """Relative uncertainties of a length along the layers at places on a round edge.

    Each line is the root mean square over the places of how an arc changes when the
    touching line, the camera's distance or the direction of the view is off by one
    standard uncertainty to either side. For a far camera the first is tan(a) / cos(a) times
    the shift over the radius at turn a (derivative of 1 / cos a).

    Parameters
    ----------
    surface : SurfaceMap
        Of a round edge.
    points_px : ndarray, shape (N, 2)
    u_facing_mm, u_log_focal, u_tilt_deg : float
        Standard uncertainties.
    """
    radius_mm = surface.radius_mm
    assert radius_mm is not None
    axis = math.radians(surface.axis_deg)
    step = STEP_SHARE * radius_mm / 2 * np.array([math.cos(axis), math.sin(axis)])
    middles = surface.to_mm(points_px)
    starts, ends = surface.to_px(middles - step), surface.to_px(middles + step)

    others = other_rounds(
        surface, u_facing_mm=u_facing_mm, u_log_focal=u_log_focal, u_tilt_deg=u_tilt_deg
    )
    lines = []
    for source, surfaces in others.items():
        changes = [_change(surface, other, starts, ends) for other in surfaces]
        u = float(np.sqrt(np.mean(np.square(changes))))
        lines.append(Contribution(source=source, u=u))
    return tuple(lines)


def other_rounds(
    surface: SurfaceMap, *, u_facing_mm: float, u_log_focal: float, u_tilt_deg: float
) -> dict[str, tuple[SurfaceMap, ...]]:
    """The round edge as it may be instead: off by one standard uncertainty to either side."""
    at_mm = surface.facing_mm
    shifted = tuple(replace(surface, facing_mm=at_mm + s * u_facing_mm) for s in (1, -1))
    found = {FACING: shifted} if u_facing_mm else {}
    if surface.eye_mm is None:
        return found
    x, y, away = surface.eye_mm
    nearer = tuple(
        replace(surface, eye_mm=(at_mm + f * (x - at_mm), y, f * away))
        for f in (math.exp(s * u_log_focal) for s in (1, -1))
    )
    aside = away * math.tan(math.radians(min(u_tilt_deg, 45.0)))
    turned = tuple(replace(surface, eye_mm=(x + s * aside, y, away)) for s in (1, -1))
    return {**found, DISTANCE: nearer, AIM: turned}


def _change(
    surface: SurfaceMap, other: SurfaceMap, starts: Points, ends: Points
) -> NDArray[np.float64]:
    lengths = [np.hypot(*(s.to_mm(ends) - s.to_mm(starts)).T) for s in (surface, other)]
    with np.errstate(divide="ignore", invalid="ignore"):
        change = lengths[1] / lengths[0] - 1
    known = np.nan_to_num(change, nan=LARGEST_CHANGE)
    return np.asarray(np.clip(known, -LARGEST_CHANGE, LARGEST_CHANGE))


def stated_arc_px(surface: SurfaceMap, size_px: tuple[int, int]) -> Points:
    """Places along the round edge at the level of the photo's middle, shape (N, 2).

    They reach to the turn over which the scale is stated, or to the photo's sides.
    """
    width, height = size_px
    axis = math.radians(surface.axis_deg)
    along, across = _axes(axis)
    middle = surface.to_mm(np.array([[(width - 1) / 2, (height - 1) / 2]]))[0]
    angles = np.radians(np.linspace(-STATED_TURN_DEG, STATED_TURN_DEG, 41))
    assert surface.radius_mm is not None
    arcs = surface.facing_mm + surface.radius_mm * angles
    places = surface.to_px(arcs[:, None] * along + (middle @ across) * across)
    inside = ((places >= 0) & (places <= np.array(size_px) - 1)).all(axis=1)
    return places[inside] if inside.any() else places[20:21]


def limit_lines_px(surface: SurfaceMap, size_px: tuple[int, int]) -> tuple[Points, ...]:
    """Where a round edge turns too far to be judged: lines across the photo.

    Beyond each of them, away from the facing line, nothing is judged.

    Parameters
    ----------
    surface : SurfaceMap
    size_px : tuple of int
        Width and height of the photo.

    Returns
    -------
    tuple of ndarray, shape (N, 2)
        Polylines inside the photo, px; none on a flat edge or where the photo ends before.
    """
    if surface.radius_mm is None:
        return ()
    along, across = _axes(math.radians(surface.axis_deg))
    width, height = size_px
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    flat = replace(surface, radius_mm=None).to_mm(corners) @ across
    # what lies behind the tangent plane reaches farther: twice the photo's height is enough
    middle, half = (flat.min() + flat.max()) / 2, flat.max() - flat.min()
    levels = np.linspace(middle - half, middle + half, 401)
    lines = []
    for sign in (-1, 1):
        arc = surface.facing_mm + sign * surface.radius_mm * math.radians(TURN_LIMIT_DEG)
        places = surface.to_px(arc * along + levels[:, None] * across)
        inside = ((places >= -0.5) & (places <= np.array(size_px) - 0.5)).all(axis=1)
        if inside.sum() > 1:
            lines.append(places[inside])
    return tuple(lines)


def _axes(axis: float) -> tuple[Points, Points]:
    """Unit vectors along the layers and along the axis of the cylinder."""
    return (
        np.array([math.cos(axis), math.sin(axis)]),
        np.array([-math.sin(axis), math.cos(axis)]),
    )
