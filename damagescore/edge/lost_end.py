"""Where a profile's outline ends or goes on beside the stack: what may be missed there."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from damagescore.edge.outline import Outline, filled
from damagescore.edge.stack import Stack
from damagescore.ranks import median_slope

Points = NDArray[np.float64]

BEYOND, BULGES_MM, JUMP_MM = 0.9, 0.2, 0.12
"""Pitches beyond the stack in which an outline that rises so far hints at a layer, and how
far it jumps from row to row where something else begins."""

STEP_ROWS, STEP_MM = 6, 0.15
"""Next to the stack, where the outline may step to a plate."""

APART_MM = 0.4
"""Distance from the line of the others beyond which an outer shim may be none."""

UNLIKE = 0.2
"""Share by which an outer layer at a lost end of the outline may differ from the others."""

LOST_END, LEAST_KNOWN = 0.5, 0.8
"""Pitches of outline that must be seen beyond the stack, for less may hide a layer, and the
share of it that must be."""

UNEVEN_LAYER = 1.45
"""Ratio of an outer pitch to the others from which on it is looked at."""


def doubt_beyond(outline: Outline, stack: Stack, mm_per_px: float) -> str:
    """Why a layer may lie beyond the stack: the outline ends or bulges there."""
    first, last = stack.shims[0], stack.shims[-1]
    thick = (first[0] - stack.top, stack.bottom - last[0])
    lost = lost_ends(outline, stack)
    unseen = (
        not _seen(outline, stack.top, first[0]),
        not _seen(outline, last[0], stack.bottom),
    )
    if len(stack.shims) > 1 and any(
        ends and (hidden or abs(part / (stack.pitch_px - first[1] / 2) - 1) > UNLIKE)
        for ends, hidden, part in zip(lost, unseen, thick, strict=True)
    ):
        return "the outline ends beside the stack, so that some may be missed"
    if _outer_stands_apart(outline, stack, mm_per_px):
        return "the end of an outer shim stands far from the line of the others"
    out = median_filter(filled(outline), 5) * mm_per_px
    rows = np.array([m for m, _ in stack.shims])
    out -= median_slope(rows, np.interp(rows, outline.rows, out)) * outline.rows
    top, bottom = (round(end - outline.rows[0]) for end in (stack.top, stack.bottom))
    reach = round(BEYOND * stack.pitch_px)
    spans = (slice(max(top - reach, 0), max(top, 0)), slice(bottom, bottom + reach))
    # A bridge over rows that are not known rises evenly, whatever lies there.
    upper, lower = (out[x][np.isfinite(outline.x[x])] for x in spans)
    sides = (upper[::-1], lower)
    # A plate that stands out is met by a step, rubber by a slope.
    step = max(STEP_ROWS, round(STEP_MM / mm_per_px))
    if any(_bulges(side[step:]) for side in sides):
        return "the outline bulges beside the stack, as if another layer lay there"
    return ""


def without_plates(outline: Outline, stack: Stack, mm_per_px: float) -> Stack:
    """The stack less an outer shim that is a plate's border, where that settles it.

    Where a plate is lit like a shim next to the rubber, the rest of it passes for one more
    layer. Its end then stands apart from the line of the shims, or that layer is unlike
    the others in thickness, and the layer inside it is like them.
    """
    for upper in (True, False):
        if len(stack.shims) < 4:  # two pitches at least tell what is usual
            break
        outer = stack.shims[0 if upper else -1]
        apart = _off_line(outline, stack, mm_per_px)[0 if upper else -1] > APART_MM
        beyond = outer[0] - stack.top if upper else stack.bottom - outer[0]
        beyond += outer[1] / 2
        if not apart and abs(np.log(beyond / stack.pitch_px)) < np.log(UNEVEN_LAYER):
            continue
        kept = stack.shims[1:] if upper else stack.shims[:-1]
        end = outer[0] + (outer[1] if upper else -outer[1]) / 2
        inner = kept[0 if upper else -1][0]
        if abs(abs(end - inner) / (stack.pitch_px - outer[1] / 2) - 1) < UNLIKE:
            top, bottom = (end, stack.bottom) if upper else (stack.top, end)
            stack = replace(stack, shims=kept, doubt="", top=top, bottom=bottom)
    return stack


def _outer_stands_apart(outline: Outline, stack: Stack, mm_per_px: float) -> bool:
    """Whether the first or last shim lies off the line of the others: a plate, rather."""
    if len(stack.shims) < 4:
        return False
    off = _off_line(outline, stack, mm_per_px)
    return bool(max(off[0], off[-1]) > APART_MM)


def _off_line(outline: Outline, stack: Stack, mm_per_px: float) -> Points:
    """How far the shims' ends (K,) lie from the line of most of them, mm."""
    rows = np.array([m for m, _ in stack.shims])
    ends = np.interp(rows, outline.rows, median_filter(filled(outline), 9)) * mm_per_px
    rest = ends - median_slope(rows, ends) * rows
    return np.asarray(np.abs(rest - np.median(rest)))


def _bulges(out: Points) -> bool:
    """Whether an outline (N,), mm, rises without a jump, as rubber does."""
    jumps = np.flatnonzero(np.abs(np.diff(out)) > JUMP_MM)
    smooth = out[: jumps[0] + 1] if len(jumps) else out
    return len(smooth) > 0 and float(smooth.max() - smooth[0]) > BULGES_MM


def lost_ends(outline: Outline, stack: Stack) -> tuple[bool, bool]:
    """Whether less of the outline is seen above, or below, the stack than a layer may hide."""
    near = LOST_END * stack.pitch_px
    return (
        not _seen(outline, stack.top - near, stack.top),
        not _seen(outline, stack.bottom, stack.bottom + near),
    )


def _seen(outline: Outline, first: float, last: float) -> bool:
    """Whether the outline is known in most rows between two levels."""
    between = (outline.rows > first) & (outline.rows < last)
    return bool(np.isfinite(outline.x[between]).sum() >= LEAST_KNOWN * (last - first - 1))
