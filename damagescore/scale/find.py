"""From a request and a photo to a scale with its budget."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from damagescore.errors import ScaleError
from damagescore.photo.record import Photo
from damagescore.quantity import Contribution, rectangular
from damagescore.scale.cards import FAMILY, OWN_SIDES_MM
from damagescore.scale.dots import find_dots
from damagescore.scale.plane import (
    focal_prior,
    plane_of_squares,
)
from damagescore.scale.record import Mark, Scale, SurfaceMap
from damagescore.scale.request import ScaleRequest
from damagescore.scale.rule import find_rule
from damagescore.scale.squares import Square, find_squares

TURN_LIMIT_DEG = 50.0
"""Beyond this turn from the facing line a round edge is not judged."""

FACING = "place of the line that faces the camera"
DISTANCE = "distance of the camera from the round edge"
FACING_HALF_WIDTH_MM = 1.5

# A length about a cylinder at turn a changes by tan(a)/cos(a) × (shift / R) when the facing
# line shifts (derivative of dx / cos a); over -35 to 35 degrees its root mean square is 0.4.
TYPICAL_TURN = 0.4

CARD_MARGIN_MM = 10.0
"""A card reaches about this far beyond its marks."""

UNSEEN_TILT_DEG = 15.0
"""Half-width of the tilt that a mark without width cannot show."""

# Ink spreads and lenses bloom: the side of a printed square is known to a tenth of a px.
EDGE_PLACE_PX = 0.1

# Close-up lenses bend lengths over the middle of the frame by up to about this share
# (common practice, no source).
LENS_SHARE = 0.0005


def find_scale(photo: Photo, request: ScaleRequest, *, view: str = "face") -> Scale:
    """Find the scale of a photo.

    Parameters
    ----------
    photo : Photo
    request : ScaleRequest
    view : "face" or "profile"
        A profile lies in the plane of its mark; a face may be round.

    Raises
    ------
    ScaleError
        When the mark is not found, or its size is not known.
    """
    ways: dict[str, Callable[[Photo, ScaleRequest, str], Scale]] = {
        "auto": _by_own_card,
        "squares": _by_squares,
        "rule": _by_rule,
        "two_dots": _by_dots,
        "two_points": _by_points,
    }
    scale = _with_standoff(ways[request.kind](photo, request, view), photo, request)
    if request.edge_radius_mm is not None and view == "face":
        return with_cylinder(scale, photo, radius_mm=request.edge_radius_mm)
    return scale


def with_centre(scale: Scale, centre_px: tuple[float, float]) -> Scale:
    """The same scale, stated at another place."""
    return replace(scale, centre_px=centre_px)


def with_cylinder(
    scale: Scale,
    photo: Photo,
    *,
    radius_mm: float,
    direction_deg: float = 0.0,
    facing_mm: float | None = None,
) -> Scale:
    """Roll the surface about an axis square to the layers.

    A flat card held against a round part touches it along one line. Where that line is
    cannot be read from the card: it is taken where the photo's middle meets the card's
    plane, or at the nearest end of the marks where that lies beyond them; the budget
    carries how far it may be off. It is not the foot of the camera on the plane, which
    wanders away as soon as the camera looks on aslant.

    Parameters
    ----------
    scale : Scale
        With the map of the mark's plane.
    photo : Photo
    radius_mm : float
    direction_deg : float
        Direction of the layers in the photo, degrees from its x axis.
    facing_mm : float or None
        Where the cylinder touches the plane, along the layers in the frame of the plane
        turned by the layers' direction; None to take it from the photo's middle.
    """
    flat = replace(scale.surface, radius_mm=None, eye_mm=None, facing_mm=0.0, axis_deg=0.0)
    axis = _metric_direction(flat, photo, direction_deg)
    cos, sin = math.cos(math.radians(axis)), math.sin(math.radians(axis))
    eye = _eye_of(scale.surface, photo)
    turned = (eye[0] * cos + eye[1] * sin, -eye[0] * sin + eye[1] * cos, eye[2])
    along = np.array([cos, sin])
    touching = _touching_mm(scale, flat, photo, along) if facing_mm is None else facing_mm
    surface = replace(
        flat, radius_mm=radius_mm, facing_mm=touching, axis_deg=axis, eye_mm=turned
    )
    budget = tuple(c for c in scale.budget if c.source not in (FACING, DISTANCE))
    budget = (*budget, _distance_line(scale, photo, turned, touching, radius_mm))
    if facing_mm is None:
        u = TYPICAL_TURN * rectangular(FACING_HALF_WIDTH_MM) / radius_mm
        budget = (*budget, Contribution(source=FACING, u=u))
    return replace(scale, surface=surface, budget=budget, u_relative=_combined(budget))


def _distance_line(
    scale: Scale,
    photo: Photo,
    eye: tuple[float, float, float],
    facing_mm: float,
    radius_mm: float,
) -> Contribution:
    """What an uncertain focal length does to arcs: it tilts the rays that meet the cylinder.

    At turn a, an arc changes by tan(a) times the change of a ray's slope; the slope is
    the place seen from the foot of the eye over the distance, which goes as the focal.
    """
    _, known = focal_prior(photo.camera.focal_px, (photo.width, photo.height))
    u_focal = scale.u_log_focal if scale.u_log_focal is not None else known
    aside = math.hypot(0.35 * radius_mm, eye[0] - facing_mm)
    return Contribution(source=DISTANCE, u=TYPICAL_TURN * u_focal * aside / eye[2])


def _touching_mm(
    scale: Scale, flat: SurfaceMap, photo: Photo, along: NDArray[np.float64]
) -> float:
    middle = float(flat.to_mm(np.array([_middle(photo)]))[0] @ along)
    if scale.method == "two_points" or not scale.marks:
        return middle
    ends = flat.to_mm(np.vstack([m.corners_px for m in scale.marks])) @ along
    low, high = float(ends.min()) - CARD_MARGIN_MM, float(ends.max()) + CARD_MARGIN_MM
    return min(max(middle, low), high)


def _combined(budget: tuple[Contribution, ...]) -> float:
    return math.sqrt(math.fsum(c.u**2 for c in budget))


def _middle(photo: Photo) -> tuple[float, float]:
    return (photo.width - 1) / 2, (photo.height - 1) / 2


def _metric_direction(surface: SurfaceMap, photo: Photo, direction_deg: float) -> float:
    middle = np.array(_middle(photo))
    angle = math.radians(direction_deg)
    step = surface.jacobian(middle) @ np.array([math.cos(angle), math.sin(angle)])
    return math.degrees(math.atan2(step[1], step[0]))


def _eye_over(surface: SurfaceMap, photo: Photo) -> tuple[float, float, float]:
    """Camera centre over the plane, from its homography and the focal length.

    tan(tilt) = f × (gradient of depth per px) at the principal point; the eye stands
    f × (mm per px) away along the optical axis.
    """
    middle = np.array(_middle(photo))
    focal, _ = focal_prior(photo.camera.focal_px, (photo.width, photo.height))
    row = surface.px_to_mm[2]
    slope = focal * row[:2] / (row @ [*middle, 1.0])
    cos = 1 / math.sqrt(1 + float(slope @ slope))
    local = surface.jacobian(middle)
    across = float(np.linalg.svd(local, compute_uv=False)[1])
    reach = focal * across * cos
    # depth grows against `slope`: the foot of the eye lies on the nearer side
    shift = local @ slope / across * reach * cos
    foot = surface.to_mm(middle[None])[0] + shift
    return float(foot[0]), float(foot[1]), reach


def _eye_of(surface: SurfaceMap, photo: Photo) -> tuple[float, float, float]:
    """The camera over the plane, in the plane's own frame, fitted or from the usual focal."""
    if surface.eye_mm is None:
        return _eye_over(surface, photo)
    x, y, away = surface.eye_mm
    axis = math.radians(surface.axis_deg)
    cos, sin = math.cos(axis), math.sin(axis)
    return x * cos - y * sin, x * sin + y * cos, away


def _by_own_card(photo: Photo, request: ScaleRequest, view: str) -> Scale:
    squares = find_squares(photo.grey)
    own = [s for s in squares if s.family == FAMILY and s.id in OWN_SIDES_MM]
    if own:
        return _of_squares(photo, own, [OWN_SIDES_MM[s.id] for s in own], request, view, "card")
    if squares:
        ids = ", ".join(str(s.id) for s in squares)
        raise ScaleError(
            f"The photo shows square mark(s) {ids}, but their side is not known.",
            remedy="Give the side of the squares in millimetres (--square-side).",
        )
    raise ScaleError(
        "No scale mark was found in the photo.",
        remedy="Take it again with a scale card beside the rubber, or give the scale by a "
        "rule, two dots or two points.",
    )


def _by_squares(photo: Photo, request: ScaleRequest, view: str) -> Scale:
    assert request.size_mm is not None
    squares = find_squares(photo.grey)
    if not squares:
        raise ScaleError(
            "No square mark (4x4_50 or 36h11) was found in the photo.",
            remedy="Show the whole square with its white border, sharp and evenly lit.",
        )
    largest = max(s.side_px for s in squares)
    kept = [
        s for s in squares if s.side_px > 0.5 * largest
    ]  # a far smaller one is a misreading
    return _of_squares(photo, kept, [request.size_mm] * len(kept), request, view, "squares")


def _of_squares(
    photo: Photo, squares: list[Square], sides_mm: list[float], request: ScaleRequest,
    view: str, method: str,
) -> Scale:  # fmt: skip
    plane = plane_of_squares(
        squares, sides_mm=sides_mm, size_px=(photo.width, photo.height),
        focal_px=photo.camera.focal_px, view=view,
    )  # fmt: skip
    surface = SurfaceMap(px_to_mm=plane.pose.px_to_mm, eye_mm=plane.pose.eye_mm)
    marks = tuple(_mark(s, side) for s, side in zip(squares, sides_mm, strict=True))
    mean_px = float(np.mean([s.side_px for s in squares]))
    budget = [
        Contribution(source="corner noise and tilt", u=plane.u_relative),
        Contribution(
            source="place of the printed edge", u=rectangular(2 * EDGE_PLACE_PX / mean_px)
        ),
        Contribution(source="printed size", u=rectangular(request.size_tolerance)),
        Contribution(source="lens", u=rectangular(LENS_SHARE)),
    ]
    found = _scale(
        photo, method, surface, marks, budget, plane.pose.tilt_deg, plane.disagreement
    )
    return replace(found, u_log_focal=plane.u_log_focal)


def _mark(square: Square, side_mm: float) -> Mark:
    return Mark(
        kind=square.family, id=square.id, size_mm=side_mm, corners_px=square.corners_px,
        mm_per_px=side_mm / square.side_px, tilt_deg=square.tilt_deg,
    )  # fmt: skip


def _by_rule(photo: Photo, request: ScaleRequest, view: str) -> Scale:
    assert request.size_mm is not None
    fit = find_rule(
        photo.grey, pitch_mm=request.size_mm, focal_px=photo.camera.focal_px, view=view
    )
    surface = SurfaceMap(px_to_mm=fit.pose.px_to_mm, eye_mm=fit.pose.eye_mm)
    apart = float(np.hypot(*(fit.ends_px[1] - fit.ends_px[0])))
    mark = Mark(
        kind="rule", id=None, size_mm=fit.length_mm, corners_px=fit.ends_px,
        mm_per_px=fit.length_mm / apart,
    )  # fmt: skip
    budget = [
        Contribution(source="graduation noise and tilt", u=fit.u_relative),
        Contribution(source="graduation accuracy", u=rectangular(request.size_tolerance)),
        Contribution(source="lens", u=rectangular(LENS_SHARE)),
    ]
    found = _scale(photo, "rule", surface, (mark,), budget, fit.pose.tilt_deg, None)
    return replace(found, u_log_focal=fit.u_log_focal)


def _by_dots(photo: Photo, request: ScaleRequest, view: str) -> Scale:
    assert request.size_mm is not None
    fit = find_dots(
        photo.grey, distance_mm=request.size_mm, focal_px=photo.camera.focal_px, view=view
    )
    surface = SurfaceMap(px_to_mm=fit.pose.px_to_mm, eye_mm=fit.pose.eye_mm)
    marks = tuple(
        Mark(kind="dot", id=None, size_mm=None, corners_px=d.centre_px[None], mm_per_px=None)
        for d in fit.discs
    )
    budget = [
        Contribution(source="outline noise and tilt", u=fit.u_relative),
        Contribution(source="printed distance", u=rectangular(request.size_tolerance)),
        Contribution(source="lens", u=rectangular(LENS_SHARE)),
    ]
    found = _scale(photo, "two_dots", surface, marks, budget, fit.pose.tilt_deg, None)
    return replace(found, u_log_focal=fit.u_log_focal)


def _by_points(photo: Photo, request: ScaleRequest, view: str) -> Scale:
    del view
    assert request.size_mm is not None
    points = np.array(request.points_px, dtype=np.float64)
    outside = (points < -0.5) | (points > np.array([photo.width, photo.height]) - 0.5)
    apart = float(np.hypot(*(points[1] - points[0])))
    if outside.any() or apart < 20:
        raise ScaleError(
            f"The two points lie {apart:.0f} px apart"
            + (", and not both in the photo." if outside.any() else "."),
            remedy="Choose two points in the photo, at least 20 px apart; farther is better.",
        )
    mm_per_px = request.size_mm / apart
    surface = SurfaceMap(px_to_mm=np.diag([mm_per_px, mm_per_px, 1.0]))
    marks = tuple(
        Mark(kind="point", id=None, size_mm=None, corners_px=p[None], mm_per_px=None)
        for p in points
    )
    budget = [
        # each click is good to a pixel, along the line: two rectangular contributions
        Contribution(source="clicked points", u=math.sqrt(2) * rectangular(1.0) / apart),
        Contribution(source="known distance", u=rectangular(request.size_tolerance)),
        _unseen_tilt(),
        Contribution(source="lens", u=rectangular(LENS_SHARE)),
    ]
    return _scale(photo, "two_points", surface, marks, budget, None, None)


def _unseen_tilt() -> Contribution:
    """A length square to the tilt's axis reads short by 1 - cos(tilt) (check: pinhole)."""
    share = 1 - math.cos(math.radians(UNSEEN_TILT_DEG))
    return Contribution(source="tilt that the mark cannot show", u=rectangular(share))


def _scale(
    photo: Photo, method: str, surface: SurfaceMap, marks: tuple[Mark, ...],
    budget: list[Contribution], tilt: float | None, disagreement: float | None,
) -> Scale:  # fmt: skip
    return Scale(
        method=method, surface=surface, centre_px=_middle(photo), tilt_deg=tilt, marks=marks,
        u_relative=_combined(tuple(budget)), budget=tuple(budget),
        disagreement=disagreement,
    )  # fmt: skip


def _with_standoff(scale: Scale, photo: Photo, request: ScaleRequest) -> Scale:
    """Carry the scale from the mark's plane to the rubber's.

    A mark nearer by dz than the rubber at Z shows it too small: lengths at the rubber
    are longer by Z / (Z - dz), Z being the rubber's distance (similar triangles).
    """
    x, y, reach = _eye_of(scale.surface, photo)
    if not -0.5 * reach < request.standoff_mm < 0.5 * reach:
        raise ScaleError(
            f"The stand-off of {request.standoff_mm:g} mm does not fit a camera about "
            f"{reach:.0f} mm away.",
            remedy="Give how many mm the mark is nearer to the camera than the rubber.",
        )
    factor = (reach + request.standoff_mm) / reach
    grow: NDArray[np.float64] = np.diag([factor, factor, 1.0])
    line = Contribution(source="stand-off of the mark", u=request.u_standoff_mm / reach)
    budget = (*scale.budget, line)
    surface = replace(
        scale.surface,
        px_to_mm=grow @ scale.surface.px_to_mm,
        eye_mm=(x * factor, y * factor, reach + request.standoff_mm),
    )
    return replace(scale, surface=surface, budget=budget, u_relative=_combined(budget))
