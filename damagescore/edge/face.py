"""The laminated edge seen from the front: find the stack and its boundaries."""

import math
from dataclasses import replace
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.edge.build import edge_from_curves
from damagescore.edge.flow import Flow, fit_flow, local_slopes, main_directions
from damagescore.edge.keepout import keep_out_areas
from damagescore.edge.record import Edge
from damagescore.edge.refine import Curve, Guess, refine
from damagescore.edge.region import NO_LIMITS, Limits
from damagescore.edge.round_flow import flow_of_round
from damagescore.edge.stack import Stack, find_stack, goes_on
from damagescore.edge.straighten import PASSES, Reduced, follow_layers, profiles_along
from damagescore.errors import EdgeError
from damagescore.photo.outline import fill_outline
from damagescore.photo.record import Photo
from damagescore.runs import runs_of_true
from damagescore.scale import TURN_LIMIT_DEG
from damagescore.scale.record import Scale
from damagescore.side_by_side import side_by_side

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

REDUCED_PX = 1100
POINT_STEP_PX = 12.0

LEAST_BEYOND_SHOWN = 0.3
"""Share of the length on which the photo must reach beyond each end of the stack."""

LIKE_PLATE = 0.3
"""How unlike rubber a plate of its colour is at least, as `goes_on` has it: where the stack
ended at a line across such a plate it was 0.15 to 0.22, at its true end 0.37 or more."""

END_REACH_MM = 0.3, 0.5
"""How far into the rubber and beyond it an end of the stack is looked for about its usual
level: outer layers are of more uneven thickness than those between shims."""

LEAST_SLOPES = 100
"""Places with a clear direction below which a photo shows no layers."""


def find_face_edge(
    photo: Photo, scale: Scale, *, n_layers: int | None = None, limits: Limits = NO_LIMITS
) -> Edge:
    """Find the layers on a photo that looks onto the exposed edge.

    Parameters
    ----------
    photo : Photo
    scale : Scale
    n_layers : int or None
        Number of rubber layers where it is known; found otherwise.
    limits : Limits
        Where the layers may be looked for.

    Raises
    ------
    EdgeError
        Where no stack of rubber and shims stands out.
    """
    reduced, keep_out = reduce_photo(photo, scale, limits=limits)
    found = _best_stack(photo, reduced, scale, n_layers=n_layers)
    if found is None:
        raise EdgeError(
            "No stack of rubber layers and shims was found in the photo.",
            remedy="Take it closer so that the layers run across the photo, give the number of "
            "rubber layers, or draw the layers by hand.",
        )
    flow, stack = found
    flow = follow_layers(
        reduced, flow, reach_px=_reach(photo, flow),
        between_px=_margin(stack), passes=PASSES[1:], direction=stack.direction,
    )  # fmt: skip
    profiles = profiles_along(reduced, flow, reach_px=_reach(photo, flow))
    again = find_stack(
        profiles,
        mm_per_px=_mm_across(scale, flow),
        n_layers=n_layers,
        partly=True,
    )
    # Straighter profiles are the better ones, unless they lost some of the layers.
    if again is not None and (
        len(again.shims) >= len(stack.shims) or again.clarity > stack.clarity
    ):
        stack = again
    curves = _refined(photo, scale, reduced, flow, stack)
    lines = [_curve_px(c, flow, photo, scale) for c in curves]
    edge = edge_from_curves(
        lines,
        scale,
        shape=(photo.height, photo.width),
        noise_px=[_mean_noise(c) for c in curves],
        keep_out_px=keep_out,
        direction_deg=math.degrees(flow.direction_rad),
    )
    doubt = stack.doubt
    if n_layers is None and not doubt:
        if _runs_out(photo, flow, stack):
            doubt = "the stack runs out of the photo"
        elif goes_on(profiles, stack, alike=LIKE_PLATE):
            doubt = "what lies beyond the stack looks like its rubber"
    return replace(edge, doubt=doubt)


def reduce_photo(
    photo: Photo, scale: Scale, *, limits: Limits = NO_LIMITS
) -> tuple[Reduced, tuple[Points, ...]]:
    """Reduce the photo for the search; also where the scale card lies."""
    factor = min(1.0, REDUCED_PX / max(photo.width, photo.height))
    size = (round(photo.width * factor), round(photo.height * factor))
    small = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA)
    channels = log_channels(small)
    keep_out = keep_out_areas(channels, factor, scale)
    usable = np.ones(small.shape[:2], np.uint8)
    for polygon in (*keep_out, *limits.keep_out_px):
        fill_outline(usable, (polygon + 0.5) * factor - 0.5, 0)
    if limits.region_px is not None:
        region = np.zeros_like(usable)
        fill_outline(region, (limits.region_px + 0.5) * factor - 0.5, 1)
        usable &= region
    usable &= _facing(usable.shape, factor, scale)
    return Reduced(channels=channels, usable=usable > 0, factor=factor), keep_out


def log_channels(rgb: NDArray[np.generic]) -> NDArray[np.float32]:
    """Log luma, log red/luma and log blue/luma of colours (h, w, 3) in grey levels."""
    # Eight levels are added so that noise in deep shadow stays small.
    red, green, blue = (np.asarray(rgb[..., k], np.float32) + np.float32(8) for k in range(3))
    weights = (np.float32(w) for w in (0.299, 0.587, 0.114))
    parts = (w * c for w, c in zip(weights, (red, green, blue), strict=True))
    luma = np.log(sum(parts))
    return np.dstack([luma, np.log(red) - luma, np.log(blue) - luma])


def _facing(shape: tuple[int, ...], factor: float, scale: Scale) -> NDArray[np.uint8]:
    """1 where the surface is turned away by less than the limit."""
    if scale.surface.radius_mm is None:
        return np.ones(shape, np.uint8)
    height, width = shape
    y, x = np.mgrid[0:height:8, 0:width:8]
    places = (np.column_stack([x.ravel(), y.ravel()]) + 0.5) / factor - 0.5
    turn = np.abs(scale.surface.turn_deg(places)).reshape(x.shape)
    coarse = (turn < TURN_LIMIT_DEG).astype(np.uint8)
    grown = np.kron(coarse, np.ones((8, 8), np.uint8))
    return np.asarray(grown[:height, :width])


def _reach(photo: Photo, flow: Flow) -> tuple[float, float]:
    """Half lengths of the photo along and across the layers."""
    half = np.array([photo.width, photo.height]) / 2
    return float(np.abs(flow.along) @ half), float(np.abs(flow.across) @ half)


def _mm_across(scale: Scale, flow: Flow, level: float = 0.0) -> float:
    ends = flow.to_px(np.zeros(2), np.array([level - 20.0, level + 20.0]))
    mm = scale.surface.to_mm(ends)
    return float(np.hypot(*(mm[1] - mm[0]))) / 40.0


def _best_stack(
    photo: Photo, reduced: Reduced, scale: Scale, *, n_layers: int | None
) -> tuple[Flow, Stack] | None:
    slopes = local_slopes(reduced.log_grey, reduced.factor, usable=reduced.usable)
    best: tuple[Flow, Stack] | None = None
    if len(slopes.weight) < LEAST_SLOPES:
        return None
    shape = (photo.height, photo.width)
    directions = main_directions(slopes)
    flows = [fit_flow(slopes, d, shape=shape) for d in directions]
    if scale.surface.radius_mm is not None:  # told by the surface where the photo does not
        flows += [flow_of_round(photo, scale, d) for d in directions]
    for first in flows:
        reach = _reach(photo, first)
        flow = follow_layers(reduced, first, reach_px=reach)
        stack = find_stack(
            profiles_along(reduced, flow, reach_px=reach),
            mm_per_px=_mm_across(scale, flow),
            n_layers=n_layers,
            partly=True,
        )
        if stack is not None and (best is None or stack.clarity > best[1].clarity):
            best = flow, stack
        if best is not None and best[1].clarity > 8:
            break
    return best


def _runs_out(photo: Photo, flow: Flow, stack: Stack) -> bool:
    """Whether little of the photo's length shows what lies beyond one end of the stack."""
    reach, _ = _reach(photo, flow)
    s = np.linspace(-reach, reach, 60)
    limit = np.array([photo.width - 1, photo.height - 1])
    for level in (stack.top - 0.1 * stack.pitch_px, stack.bottom + 0.1 * stack.pitch_px):
        places = flow.to_px(s, np.full_like(s, level))
        shown = ((places >= 0) & (places <= limit)).all(axis=1)
        if float(shown.mean()) < LEAST_BEYOND_SHOWN:
            return True
    return False


def _margin(stack: Stack) -> tuple[float, float]:
    margin = 0.25 * stack.pitch_px
    return stack.top - margin, stack.bottom + margin


def _refined(
    photo: Photo, scale: Scale, reduced: Reduced, flow: Flow, stack: Stack
) -> list[Curve]:
    """Boundaries from the bottom up."""
    px_per_mm = 1.0 / _mm_across(scale, flow, (stack.top + stack.bottom) / 2)
    reach, _ = _reach(photo, flow)
    within, beyond = END_REACH_MM[0] * px_per_mm, END_REACH_MM[1] * px_per_mm
    guesses = [Guess(level_px=stack.bottom, above_px=within, below_px=beyond)]
    for middle, thickness in reversed(stack.shims):
        half = thickness / 2
        out = 0.35 * px_per_mm
        inner = min(0.9 * half + 1, out)
        guesses.append(Guess(level_px=middle + half, above_px=inner, below_px=out))
        guesses.append(Guess(level_px=middle - half, above_px=out, below_px=inner))
    guesses.append(Guess(level_px=stack.top, above_px=beyond, below_px=within))
    follow = partial(
        refine, photo, reduced, flow, s_range_px=(-reach, reach), px_per_mm=px_per_mm
    )
    return side_by_side(follow, guesses)


def _mean_noise(curve: Curve) -> float:
    """Standard uncertainty of a curve's mean level, pixels."""
    kept = max(curve.share * len(curve.s_px), 1.0)
    return curve.noise_px / math.sqrt(kept)


def _curve_px(curve: Curve, flow: Flow, photo: Photo, scale: Scale) -> Points:
    """Points of the curve inside the photo and the judged turn, left to right."""
    half = float(np.diff(curve.s_px[:2])[0])
    s = np.arange(curve.s_px[0] - half, curve.s_px[-1] + half, 1.0)
    points = flow.to_px(s, _extended(curve, s))
    x, y = points.T
    inside = (x >= 0) & (x <= photo.width - 1) & (y >= 0) & (y <= photo.height - 1)
    inside &= np.abs(scale.surface.turn_deg(points)) < TURN_LIMIT_DEG
    run = _longest_run(inside)
    if len(run) < 2:
        raise EdgeError(
            "A boundary of the stack lies outside the photo.",
            remedy="Take the whole stack into the photo.",
        )
    picked = np.unique(
        np.round(np.linspace(run[0], run[-1], max(int(len(run) / POINT_STEP_PX), 2))).astype(
            int
        )
    )
    return np.asarray(points[picked], dtype=np.float64)


def _extended(curve: Curve, s: Points) -> Points:
    """The curve at s, continued with its end slopes."""
    level = np.interp(s, curve.s_px, curve.v_px)
    for end, nxt, beyond in ((0, 3, s < curve.s_px[0]), (-1, -4, s > curve.s_px[-1])):
        slope = (curve.v_px[nxt] - curve.v_px[end]) / (curve.s_px[nxt] - curve.s_px[end])
        level = np.where(beyond, curve.v_px[end] + slope * (s - curve.s_px[end]), level)
    return level


def _longest_run(inside: Mask) -> NDArray[np.intp]:
    return np.arange(*max(runs_of_true(inside), key=lambda r: r[1] - r[0], default=(0, 0)))
