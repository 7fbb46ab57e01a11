"""Where layers reach the outline: rings seen at a slant turn up or down beside it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.record import Edge, Layer
from damagescore.ranks import median_slope
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

DEPTHS_MM = (0.5, 5.0)
"""Depths inside the outline between which a boundary's course tells where it ends."""

LEAST_POINTS, LEAST_CURVES = 6, 4

LEAST_CONVERGING_MM = 0.2
"""By how much the highest and the lowest boundary of a ring come nearer, at least."""

PLACE_SHARE, SHIFT_SHARE = 0.25, 0.5
"""Shares of a layer's thickness and of its shift by which its place is uncertain."""

MOST_SHIFT_MM = 0.8
"""Larger shifts are courses that were lost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerEnd:
    """Where one layer reaches the outline.

    `first` and `last` are places on the outline, `known` the share of the rows between both
    boundaries in which it is known, and `tips_px` (2, 2) the boundaries' ends. `reach_px`
    (2, 2) is where these meet the outline, from its beginning on, also between known rows,
    and `u_px` the standard uncertainty of that along the outline.
    """

    first: int
    last: int
    known: float
    tips_px: Points
    reach_px: Points
    u_px: float


def layer_ends(edge: Edge, outline: Points, scale: Scale) -> dict[int, LayerEnd]:
    """Places on the outline where each layer's two boundaries reach it.

    A ring of radius r seen at a slant e lies sin(e) sqrt(2 r d) higher or lower at a depth d
    inside the outline than at the outline itself (the ellipse's height beside its vertex).
    So each boundary is followed back to depth 0 by a straight line over sqrt(d); as e
    changes evenly over the stack, so does the shift.

    Parameters
    ----------
    edge : Edge
    outline : ndarray, shape (N, 2)
        In order along the stack, photo pixels.
    scale : Scale

    Returns
    -------
    dict of LayerEnd
        By layer index.
    """
    chord = outline[-1] - outline[0]
    along = chord / (np.hypot(*chord) + 1e-12)
    at = outline @ along
    shift = _shift(edge, outline, along, scale)
    per_px = float(np.abs(along).max())
    return {x.index: _end(x, outline, at, along, shift, per_px) for x in edge.layers}


def _tip(curve: Points, outline: Points) -> int:
    """Which end of a boundary lies at the outline: 0 or -1."""
    apart = [float(np.min(np.hypot(*(outline - curve[k]).T))) for k in (0, -1)]
    return 0 if apart[0] < apart[1] else -1


def _end(
    layer: Layer, outline: Points, at: Points, along: Points, shift: Points, per_px: float
) -> LayerEnd:
    tips = np.array([curve[_tip(curve, outline)] for curve in (layer.upper_px, layer.lower_px)])
    levels = tips @ along
    moved = np.polyval(shift, levels)
    levels = np.sort(levels + moved)
    first, last = (int(np.argmin(np.abs(at - x))) for x in levels)
    thick = float(levels[1] - levels[0])
    rows = thick * per_px
    seen = int(((at > levels.min()) & (at < levels.max())).sum())
    order = np.argsort(at)
    reach = [np.interp(levels, at[order], outline[order, k]) for k in (0, 1)]
    return LayerEnd(
        first=min(first, last), last=max(first, last),
        known=min(seen / max(rows, 1.0), 1.0), tips_px=tips,
        reach_px=np.column_stack(reach),
        u_px=math.hypot(PLACE_SHARE * thick, SHIFT_SHARE * float(np.abs(moved).mean())),
    )  # fmt: skip


def _shift(edge: Edge, outline: Points, along: Points, scale: Scale) -> Points:
    """Line (slope, offset) of the shift of boundaries over their place along, pixels."""
    curves = [x.lower_px for x in edge.layers[1:]]  # the stack's own ends are less clear
    middle = np.vstack([x.polygon_px for x in edge.layers]).mean(axis=0) - outline.mean(axis=0)
    across = np.array([-along[1], along[0]])
    inward = across * math.copysign(1.0, float(middle @ across))
    mm_per_px = scale.surface.mm_per_px_at(outline[len(outline) // 2])
    found = []
    for curve in curves:
        apart = curve - curve[_tip(curve, outline)]
        depth = (apart @ inward) * mm_per_px
        seen = (depth > DEPTHS_MM[0]) & (depth < DEPTHS_MM[1])
        if seen.sum() >= LEAST_POINTS:
            end = float(np.polyfit(np.sqrt(depth[seen]), apart[seen] @ along, 1)[1])
            if abs(end) * mm_per_px < MOST_SHIFT_MM:
                found.append((float(curve[_tip(curve, outline)] @ along), end))
    if len(found) < LEAST_CURVES:
        return np.zeros(2)
    places, ends = np.array(found).T
    line = _median_line(places, ends)
    # Lower rings turn up and upper ones down; the boundaries of a flat edge do neither.
    converging = -line[0] * float(np.ptp(places)) * mm_per_px
    return line if converging > LEAST_CONVERGING_MM else np.zeros(2)


def _median_line(x: Points, y: Points) -> Points:
    """Line by the median of the slopes between pairs (Theil-Sen)."""
    slope = float(median_slope(x, y, least=0.1 * float(np.ptp(x))))
    return np.array([slope, float(np.median(y - slope * x))])
