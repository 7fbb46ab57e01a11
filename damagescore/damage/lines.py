"""Measuring centre lines: length, width, extent along the layer and share of it."""

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.centreline import resample, simplify
from damagescore.damage.doubt import doubtful_px
from damagescore.damage.links import apart_at
from damagescore.damage.seam import seam_of
from damagescore.damage.surround import Surround, surround_of
from damagescore.damage.tips import u_ends_px
from damagescore.damage.unseen import unseen_mm
from damagescore.damage.width import opening_of
from damagescore.edge.along import span_mm
from damagescore.edge.record import Edge
from damagescore.edge.region import visible_length_mm
from damagescore.errors import UsageError
from damagescore.photo.along import run_of
from damagescore.photo.record import Photo
from damagescore.quantity import Contribution, NotMeasured, Quantity, from_budget
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

FORK_MM = 0.15
"""How far from where a person draws it a branch may begin."""

FINE_TOLERANCE_PX = 0.25
"""For sub-pixel centre lines: drops the jitter of centring, keeps the bends."""


def measure_lines(
    photo: Photo,
    lines_px: Iterable[Points],
    scale: Scale,
    *,
    edge: Edge | None = None,
    kind: str = "crack",
    origin: str = "auto",
    bridged_px: Iterable[Points] = (),
) -> dict[str, Quantity]:
    """Measure the centre lines of one crack or bond gap.

    Parameters
    ----------
    photo : Photo
    lines_px : iterable of ndarray, shape (N, 2)
        Main path first, then branches; photo pixels.
    scale : Scale
    edge : Edge, optional
        Needed for the extent along the layer and the share of it.
    kind : "crack" or "bond_gap"
    origin : "auto", "traced" or "drawn"
        How the lines came about: it sets how well their ends are known.
    bridged_px : iterable of ndarray, shape (2, 2)
        Ends of stretches that a person joined across a gap: they count to the length, with
        a budget line of their own, and nothing else is read there.

    Returns
    -------
    dict of str to Quantity
        "length" (all lines summed, on the surface, mm), "width_max" and
        "width_mean" (mm), "extent" (along the layer, mm), "share_of_layer"
        (extent over the layer's visible length, %). Every one has a budget.

    Raises
    ------
    UsageError
        When no line has two points.

    Notes
    -----
    Length is that of the simplified ordered path, mapped to the surface. Known
    bias: an automatic line stops where a tip narrows below about 0.05 mm, a few
    hundredths of a millimetre short; a branch that runs inside its main path's
    own stroke is counted from where it leaves it.
    """
    lines = [np.asarray(line, np.float64).reshape(-1, 2) for line in lines_px]
    lines = [line for line in lines if len(line) > 1 and run_of(line)[-1] > 0]
    if not lines:
        raise UsageError(
            f"The {kind.replace('_', ' ')} has no line with two different points.",
            remedy="Trace or draw it with two or more points.",
        )
    seen, gaps = apart_at(lines, tuple(bridged_px))
    ends_mm, doubtful_mm = _ends_and_doubt_mm(photo, lines, seen, scale, edge, origin)
    found: dict[str, Quantity] = {
        "length": _length(
            lines,
            scale,
            ends_mm=ends_mm,
            doubtful_mm=doubtful_mm,
            origin=origin,
            gaps=gaps,
        )
    }
    found |= _widths(photo, seen, scale)
    found |= _along_layer(lines, scale, edge, math.hypot(*ends_mm[:2]))
    return found


def layer_of(lines_px: Iterable[Points], edge: Edge) -> int | None:
    """Index of the rubber layer that holds most of the lines' points; None outside."""
    points = np.round(np.vstack(list(lines_px))).astype(int)
    height, width = edge.shape
    x, y = np.clip(points[:, 0], 0, width - 1), np.clip(points[:, 1], 0, height - 1)
    under = edge.layer_map[y, x]
    counts = {layer.index: int(np.sum(under == layer.index)) for layer in edge.rubber}
    best = max(counts, key=lambda k: counts[k], default=None)
    return best if best is not None and counts[best] > 0 else None


def _ends_and_doubt_mm(
    photo: Photo,
    lines: list[Points],
    seen: list[Points],
    scale: Scale,
    edge: Edge | None,
    origin: str,
) -> tuple[list[float], float]:
    """Standard uncertainty of every free end along its line, and the length in doubt.

    Both ends of the first line come first. A person clicks an end within about 1.5 px, sees
    a taper as the photo shows it, and has no doubt of the line; where an automatic end may
    lie, and what may be no crack at all, the photo says.
    """
    mm_per_px = scale.surface.mm_per_px_at(lines[0][-1])
    if origin != "auto":
        return [math.hypot(1.5 * mm_per_px, 0.03)] * (1 + len(lines)), 0.0
    inside = np.ones(photo.grey.shape, bool) if edge is None else edge.judged
    around = surround_of(photo.grey, np.vstack(lines), inside, px_per_mm=1 / mm_per_px)
    ends_mm = [mm_per_px * u for u in _u_ends_px(photo, around, lines, edge)]
    return ends_mm, mm_per_px * doubtful_px(around, seen)


def _u_ends_px(
    photo: Photo, around: Surround, lines: list[Points], edge: Edge | None
) -> list[float]:
    """Standard uncertainty of every free end, photo pixels: see `tips.u_ends_px`."""
    ends = u_ends_px(around, lines)
    index = None if edge is None else layer_of(lines, edge)
    if edge is None or index is None:
        return ends
    home = next(x for x in edge.rubber if x.index == index)
    seam = seam_of(photo, edge, home, line=lines[0], px_per_mm=around.px_per_mm)
    if seam is not None:
        for k, line in enumerate((lines[0][::-1], lines[0])):
            if seam.holds_end(line):
                own = seam.u_end_px(line)
                # Under a card or chalk the gap may go on, and nothing tells.
                ends[k] = own if seam.sees_beyond(line) else max(own, ends[k])
    return ends


def _length(
    lines: list[Points],
    scale: Scale,
    *,
    ends_mm: list[float],
    doubtful_mm: float,
    origin: str,
    gaps: list[Points],
) -> Quantity:
    fine = sum(_on_surface(line, scale, FINE_TOLERANCE_PX) for line in lines)
    coarse = sum(_on_surface(line, scale, 1.0) for line in lines)
    mm_per_px = scale.surface.mm_per_px_at(lines[0][len(lines[0]) // 2])
    budget = [
        Contribution(source="scale", u=fine * scale.u_relative_at(np.vstack(lines))),
        Contribution(source="end points", u=math.hypot(*ends_mm)),
        # Between keeping and dropping what is smaller than a pixel.
        Contribution(source="path noise", u=math.hypot(abs(fine - coarse) / 2, 0.001 * fine)),
        Contribution(source="sampling", u=mm_per_px / math.sqrt(12) * math.sqrt(len(lines))),
        Contribution(source="surface form", u=fine * _u_form(lines, scale)),
    ]
    if origin == "auto":
        u_unseen = unseen_mm(branches=len(lines) - 1)
        budget.append(Contribution(source="unseen branches", u=u_unseen))
        # It belongs to the crack or it does not: uniform between none of it and all.
        u_doubt = doubtful_mm / math.sqrt(12)
        budget.append(Contribution(source="surface taken for crack", u=u_doubt))
    elif len(lines) > 1:
        # Inside the main stroke nothing shows where a branch begins.
        u_fork = FORK_MM * math.sqrt(len(lines) - 1)
        budget.append(Contribution(source="fork position", u=u_fork))
    if gaps:
        # Under a hair the crack runs straight or half as far again: uniform between.
        hidden = sum(_on_surface(way, scale, FINE_TOLERANCE_PX) for way in gaps)
        budget.append(Contribution(source="bridged gap", u=0.5 * hidden / math.sqrt(12)))
    return from_budget(fine, budget, unit="mm")


def _on_surface(line: Points, scale: Scale, tolerance_px: float) -> float:
    kept = simplify(line, tolerance_px=tolerance_px)
    if scale.surface.radius_mm is None:
        return scale.surface.length_mm(kept)
    # A straight line in the photo is bent on a cylinder: map it in short pieces.
    pieces = [resample(kept[i : i + 2], step_px=20.0) for i in range(len(kept) - 1)]
    return sum(scale.surface.length_mm(piece) for piece in pieces)


def _u_form(lines: list[Points], scale: Scale) -> float:
    """Relative: bulges and rounding of 0.1 %; a cylinder's radius known to 1 %."""
    turn = np.radians(scale.surface.turn_deg(np.vstack(lines)))
    # s = R asin(x / R): a radius wrong by 1 % changes a length at turn t by 1 % of tan^2 t / 2.
    return math.hypot(0.001, 0.01 * float(np.mean(np.tan(turn) ** 2)) / 2)


def _widths(photo: Photo, lines: list[Points], scale: Scale) -> dict[str, Quantity]:
    opening = opening_of(photo, lines, scale)
    if opening is None:
        missing = NotMeasured(reason="The line is too short to be cut across.", unit="mm")
        return {"width_max": missing, "width_mean": missing}
    mm_per_px = scale.surface.mm_per_px_at(lines[0][len(lines[0]) // 2])
    made: dict[str, Quantity] = {}
    for name, value, cuts in (
        ("width_max", opening.largest_mm, 1),
        ("width_mean", opening.mean_mm, opening.cuts),
    ):
        budget = [
            Contribution(source="scale", u=value * scale.u_relative_at(np.vstack(lines))),
            Contribution(source="threshold", u=value * opening.u_threshold),
            Contribution(source="sampling", u=mm_per_px / math.sqrt(12) * math.sqrt(2 / cuts)),
        ]
        made[name] = from_budget(value, budget, unit="mm")
    return made


def _along_layer(
    lines: list[Points], scale: Scale, edge: Edge | None, ends_mm: float
) -> dict[str, Quantity]:
    index = None if edge is None else layer_of(lines, edge)
    if edge is None or index is None:
        why = "The layer that the line lies in is not known."
        return {
            "extent": NotMeasured(reason=why, unit="mm"),
            "share_of_layer": NotMeasured(reason=why, unit="%"),
        }
    start, end = span_mm(np.vstack(lines), edge, scale)
    extent = end - start
    tips = Contribution(source="end points", u=ends_mm)
    by_scale = Contribution(source="scale", u=extent * scale.u_relative_at(np.vstack(lines)))
    layer = next(x for x in edge.rubber if x.index == index)
    visible = visible_length_mm(layer, edge, scale)
    if visible <= 0:
        why = "No part of the layer may be judged."
        return {
            "extent": from_budget(extent, [by_scale, tips], unit="mm"),
            "share_of_layer": NotMeasured(reason=why, unit="%"),
        }
    # The scale cancels in a share.
    share = from_budget(100 * extent / visible, [_as_share(tips, visible)], unit="%")
    return {
        "extent": from_budget(extent, [by_scale, tips], unit="mm"),
        "share_of_layer": share,
    }


def _as_share(tips: Contribution, visible_mm: float) -> Contribution:
    """The contribution as a percentage of the visible length."""
    return Contribution(source=tips.source, u=100 * tips.u / visible_mm)
