"""The course that layers take on a round edge, from the map of its surface alone."""

import math

import numpy as np

from damagescore.edge.flow import Flow, Slopes, fit_flow
from damagescore.photo.record import Photo
from damagescore.scale import TURN_LIMIT_DEG, with_cylinder
from damagescore.scale.record import Scale

LINES, STEPS = 9, 41


def flow_of_round(photo: Photo, scale: Scale, direction_rad: float) -> Flow:
    """Fit the flow to lines round the edge that are level in `direction_rad` at its middle.

    Where the part fills little of the photo, what is around it outvotes the layers' own
    directions; the surface knows how they bow.

    Parameters
    ----------
    photo : Photo
    scale : Scale
        Of a round edge.
    direction_rad : float
        Direction of the layers in the photo's middle, from its x axis.
    """
    radius_mm = scale.surface.radius_mm
    assert radius_mm is not None
    surface = with_cylinder(
        scale, photo, radius_mm=radius_mm, direction_deg=math.degrees(direction_rad)
    ).surface
    axis = math.radians(surface.axis_deg)
    along = np.array([math.cos(axis), math.sin(axis)])
    across = np.array([-math.sin(axis), math.cos(axis)])
    size = np.array([photo.width, photo.height], dtype=np.float64)
    level = float(surface.to_mm(size[None] / 2)[0] @ across)
    half_mm = 0.4 * min(size) * scale.mm_per_px
    arcs = surface.facing_mm + radius_mm * np.radians(
        np.linspace(-TURN_LIMIT_DEG, TURN_LIMIT_DEG, STEPS)
    )
    levels = level + np.linspace(-half_mm, half_mm, LINES)
    places = arcs[None, :, None] * along + levels[:, None, None] * across
    lines = surface.to_px(places.reshape(-1, 2)).reshape(LINES, STEPS, 2)
    steps = np.diff(lines, axis=1).reshape(-1, 2)
    middles = ((lines[:, 1:] + lines[:, :-1]) / 2).reshape(-1, 2)
    seen = ((middles >= 0) & (middles <= size - 1)).all(axis=1)
    angle = np.arctan2(steps[seen, 1], steps[seen, 0])
    slopes = Slopes(
        points_px=middles[seen],
        angle_rad=(angle + math.pi / 2) % math.pi - math.pi / 2,
        weight=np.ones(int(seen.sum())),
    )
    return fit_flow(slopes, direction_rad, shape=(photo.height, photo.width))
