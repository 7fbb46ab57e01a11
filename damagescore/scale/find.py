"""From a request and a photo to a scale with its budget."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from damagescore.errors import ScaleError
from damagescore.photo.record import Photo
from damagescore.quantity import Contribution, rectangular
from damagescore.scale.camera import Camera, camera_of
from damagescore.scale.cards import FAMILY, OWN_SIDES_MM
from damagescore.scale.dots import find_dots
from damagescore.scale.lens import FOCUS_SHARE
from damagescore.scale.plane import COVERED_SHARE, plane_of_squares, whole_squares
from damagescore.scale.pose import Pose
from damagescore.scale.record import Mark, Scale, SurfaceMap
from damagescore.scale.request import ScaleRequest
from damagescore.scale.round_edge import ROUND_LINES, stated_arc_px
from damagescore.scale.rule import find_rule
from damagescore.scale.spread import Spread, bend_of_lengths
from damagescore.scale.squares import Square, find_squares

FACING_HALF_WIDTH_MM = 1.5
"""How far the line along which a card touches a round part may be from where it is held."""

CARD_MARGIN_MM = 10.0
"""A card reaches about this far beyond its marks."""

UNSEEN_TILT_DEG = 15.0
"""Half-width of the tilt that a mark without width cannot show."""

FOCUS_REACH = 1 + FOCUS_SHARE
"""How much nearer or farther than the boards a photo may be, as a factor."""

# Ink spreads and lenses bloom: the side of a printed square is known to a tenth of a px.
EDGE_PLACE_PX = 0.1


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
    camera, use = camera_of(photo.camera, (photo.width, photo.height), request.lens)
    ways: dict[str, Callable[[Photo, Camera, ScaleRequest, str], Scale]] = {
        "auto": _by_own_card,
        "squares": _by_squares,
        "rule": _by_rule,
        "two_dots": _by_dots,
        "two_points": _by_points,
    }
    found = replace(ways[request.kind](photo, camera, request, view), lens=use)
    scale = _with_focus(_with_standoff(found, request), request)
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
    eye = _eye_of(scale.surface)
    turned = (eye[0] * cos + eye[1] * sin, -eye[0] * sin + eye[1] * cos, eye[2])
    along = np.array([cos, sin])
    touching = _touching_mm(scale, flat, photo, along) if facing_mm is None else facing_mm
    surface = replace(
        flat, radius_mm=radius_mm, facing_mm=touching, axis_deg=axis, eye_mm=turned
    )
    u_facing_mm = rectangular(FACING_HALF_WIDTH_MM) if facing_mm is None else 0.0
    rolled = replace(scale, surface=surface, u_facing_mm=u_facing_mm)
    arc_px = stated_arc_px(surface, (photo.width, photo.height))
    plain = tuple(c for c in scale.budget if c.source not in ROUND_LINES)
    budget = (*plain, *rolled.round_lines(arc_px))
    return replace(rolled, budget=budget, u_relative=_combined(budget))


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


def _eye_of(surface: SurfaceMap) -> tuple[float, float, float]:
    """The camera over the plane, in the plane's own frame."""
    assert surface.eye_mm is not None
    x, y, away = surface.eye_mm
    axis = math.radians(surface.axis_deg)
    cos, sin = math.cos(axis), math.sin(axis)
    return x * cos - y * sin, x * sin + y * cos, away


def _by_own_card(photo: Photo, camera: Camera, request: ScaleRequest, view: str) -> Scale:
    squares = find_squares(photo.grey, camera.lens)
    own = [s for s in squares if s.family == FAMILY and s.id in OWN_SIDES_MM]
    if own:
        sides_mm = [OWN_SIDES_MM[s.id] for s in own]
        return _of_squares(camera, own, sides_mm, request=request, view=view, method="card")
    if squares:
        ids = ", ".join(str(s.id) for s in squares)
        raise ScaleError(
            f"The side of the square marks in the photo (number {ids}) is not known.",
            remedy="Say that they are squares of a known side, and give that side.",
        )
    raise ScaleError(
        "No scale mark was found in the photo.",
        remedy="Take it again with a scale card beside the rubber, or give the scale by a "
        "rule, two dots or two points.",
    )


def _by_squares(photo: Photo, camera: Camera, request: ScaleRequest, view: str) -> Scale:
    assert request.size_mm is not None
    squares = find_squares(photo.grey, camera.lens)
    if not squares:
        raise ScaleError(
            "No square mark (4x4_50 or 36h11) was found in the photo.",
            remedy="Show the whole square with its white border, sharp and evenly lit.",
        )
    largest = max(s.side_px for s in squares)
    kept = [
        s for s in squares if s.side_px > 0.5 * largest
    ]  # a far smaller one is a misreading
    sides_mm = [request.size_mm] * len(kept)
    return _of_squares(camera, kept, sides_mm, request=request, view=view, method="squares")


def _of_squares(
    camera: Camera, squares: list[Square], sides_mm: list[float], *, request: ScaleRequest,
    view: str, method: str,
) -> Scale:  # fmt: skip
    ideal = [replace(s, corners_px=camera.ideal(s.corners_px)) for s in squares]
    plane = plane_of_squares(ideal, sides_mm=sides_mm, camera=camera, view=view)
    if len(squares) > 1 and plane.residual_px > COVERED_SHARE * squares[0].side_px / 2:
        kept = whole_squares(ideal, camera=camera, view=view)
        squares, sides_mm = [squares[i] for i in kept], [sides_mm[i] for i in kept]
        ideal = [ideal[i] for i in kept]
        plane = plane_of_squares(ideal, sides_mm=sides_mm, camera=camera, view=view)
    marks = tuple(_mark(s, side) for s, side in zip(squares, sides_mm, strict=True))
    mean_px = float(np.mean([s.side_px for s in squares]))
    budget = [
        *plane.spread.lines("corner noise"),
        Contribution(
            source="place of the printed edge", u=rectangular(2 * EDGE_PLACE_PX / mean_px)
        ),
        Contribution(source="printed size", u=rectangular(request.size_tolerance)),
    ]
    spread = replace(
        plane.spread,
        u_tilt_deg=math.hypot(plane.spread.u_tilt_deg, _u_by_edges(plane.pose, mean_px)),
    )
    found = _scale(camera, method, plane.pose, spread, marks=marks, budget=budget)
    return replace(found, disagreement=plane.disagreement)


def _u_by_edges(pose: Pose, side_px: float) -> float:
    """Standard uncertainty, degrees, of a tilt that upright and level sides give.

    Where blur or ink widens one pair of sides more than the other, the square looks
    foreshortened by that share: cos(tilt) is off by as much.
    """
    cos = math.cos(math.radians(pose.tilt_deg))
    share = math.sqrt(2) * rectangular(2 * EDGE_PLACE_PX / side_px)
    return math.degrees(math.acos(max(-1.0, cos - share))) - pose.tilt_deg


def _mark(square: Square, side_mm: float) -> Mark:
    return Mark(
        kind=square.family, id=square.id, size_mm=side_mm, corners_px=square.corners_px,
        mm_per_px=side_mm / square.side_px, tilt_deg=square.tilt_deg,
    )  # fmt: skip


def _by_rule(photo: Photo, camera: Camera, request: ScaleRequest, view: str) -> Scale:
    assert request.size_mm is not None
    fit = find_rule(photo.grey, pitch_mm=request.size_mm, camera=camera, view=view)
    apart = float(np.hypot(*(fit.ends_px[1] - fit.ends_px[0])))
    mark = Mark(
        kind="rule", id=None, size_mm=fit.length_mm, corners_px=fit.ends_px,
        mm_per_px=fit.length_mm / apart,
    )  # fmt: skip
    budget = [
        *fit.spread.lines("graduation noise"),
        Contribution(source="graduation accuracy", u=rectangular(request.size_tolerance)),
    ]
    return _scale(camera, "rule", fit.pose, fit.spread, marks=(mark,), budget=budget)


def _by_dots(photo: Photo, camera: Camera, request: ScaleRequest, view: str) -> Scale:
    assert request.size_mm is not None
    fit = find_dots(photo.grey, distance_mm=request.size_mm, camera=camera, view=view)
    marks = tuple(
        Mark(kind="dot", id=None, size_mm=None, corners_px=d.centre_px[None], mm_per_px=None)
        for d in fit.discs
    )
    budget = [
        *fit.spread.lines("outline noise"),
        Contribution(source="printed distance", u=rectangular(request.size_tolerance)),
    ]
    return _scale(camera, "two_dots", fit.pose, fit.spread, marks=marks, budget=budget)


def _by_points(photo: Photo, camera: Camera, request: ScaleRequest, view: str) -> Scale:
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
    ideal = camera.ideal(points)
    mm_per_px = request.size_mm / float(np.hypot(*(ideal[1] - ideal[0])))
    foot = camera.middle_px * mm_per_px
    surface = SurfaceMap(
        px_to_mm=np.diag([mm_per_px, mm_per_px, 1.0]), lens=camera.lens,
        eye_mm=(float(foot[0]), float(foot[1]), camera.focal_px * mm_per_px),
    )  # fmt: skip
    marks = tuple(
        Mark(kind="point", id=None, size_mm=None, corners_px=p[None], mm_per_px=None)
        for p in points
    )
    budget = (
        # each click is good to a pixel, along the line: two rectangular contributions
        Contribution(source="clicked points", u=math.sqrt(2) * rectangular(1.0) / apart),
        Contribution(source="known distance", u=rectangular(request.size_tolerance)),
        _unseen_tilt(),
        Contribution(source="distortion of the lens", u=bend_of_lengths(camera, ideal)),
    )
    return Scale(
        method="two_points", surface=surface, centre_px=_middle(photo), tilt_deg=None,
        marks=marks, u_relative=_combined(budget), budget=budget,
        u_log_focal=camera.u_log_focal, u_tilt_deg=rectangular(UNSEEN_TILT_DEG),
    )  # fmt: skip


def _unseen_tilt() -> Contribution:
    """A length square to the tilt's axis reads short by 1 - cos(tilt) (check: pinhole)."""
    share = 1 - math.cos(math.radians(UNSEEN_TILT_DEG))
    return Contribution(source="tilt that the mark cannot show", u=rectangular(share))


def _scale(
    camera: Camera, method: str, pose: Pose, spread: Spread, *, marks: tuple[Mark, ...],
    budget: list[Contribution],
) -> Scale:  # fmt: skip
    x, y = camera.middle_px
    return Scale(
        method=method,
        surface=SurfaceMap(px_to_mm=pose.px_to_mm, eye_mm=pose.eye_mm, lens=camera.lens),
        centre_px=(float(x), float(y)), tilt_deg=pose.tilt_deg, u_tilt_deg=spread.u_tilt_deg,
        marks=marks, u_relative=_combined(tuple(budget)), budget=tuple(budget),
        u_log_focal=spread.u_log_focal,
    )  # fmt: skip


def _with_focus(scale: Scale, request: ScaleRequest) -> Scale:
    """Say where the photo is taken from far nearer or farther than the lens's boards."""
    use, lens = scale.lens, request.lens
    if use is None or lens is None or not use.used or scale.surface.eye_mm is None:
        return scale
    away = scale.surface.eye_mm[2]
    near, far = lens.distance_mm
    if near / FOCUS_REACH <= away <= far * FOCUS_REACH:
        return scale
    told = (
        f"it was calibrated at {near:.0f} to {far:.0f} mm and the photo is taken from "
        f"{away:.0f} mm, at another focus"
    )
    note = " and ".join(x for x in (use.note, told) if x)
    return replace(scale, lens=replace(use, note=note))


def _with_standoff(scale: Scale, request: ScaleRequest) -> Scale:
    """Carry the scale from the mark's plane to the rubber's.

    A mark nearer by dz than the rubber at Z shows it too small: lengths at the rubber
    are longer by Z / (Z - dz), Z being the rubber's distance (similar triangles).
    """
    x, y, reach = _eye_of(scale.surface)
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
