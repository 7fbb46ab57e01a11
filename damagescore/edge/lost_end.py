"""Where a profile's outline ends or goes on beside the stack: what may be missed there."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from damagescore.edge.outline import Outline, Track, filled
from damagescore.edge.stack import Stack

Points = NDArray[np.float64]

BEYOND, BULGES_MM, JUMP_MM = 0.9, 0.2, 0.12
"""Pitches beyond the stack in which an outline that rises so far hints at a layer, and how
far it jumps from row to row where something else begins."""

APART_MM = 0.4
"""Distance from the line of the others beyond which an outer shim may be none."""

UNLIKE = 0.2
"""Share by which an outer layer at a lost end of the outline may differ from the others."""

LOST_END, SEARCHED_END = 0.5, 1.5
"""Pitches of outline that must be seen beyond the stack, for less may hide a layer, and
that are looked for."""


def longer(track: Track, more: tuple[float, float], *, height: float) -> Track:
    """A track that goes on straight above and below by so many rows, within the photo."""
    rows = track.rows
    first, last = max(rows[0] - more[0], 0.0), min(rows[-1] + more[1], height - 1.0)
    at = np.arange(first, last + 1)
    return Track(rows=at, x=np.interp(at, rows, track.x), outward=track.outward)


def doubt_beyond(outline: Outline, stack: Stack, mm_per_px: float) -> str:
    """Why a layer may lie beyond the stack: the outline ends or bulges there."""
    first, last = stack.shims[0], stack.shims[-1]
    thick = (first[0] - stack.top, stack.bottom - last[0])
    lost = lost_ends(outline, stack, within=LOST_END)
    if len(stack.shims) > 1 and any(
        ends and abs(part / (stack.pitch_px - first[1] / 2) - 1) > UNLIKE
        for ends, part in zip(lost, thick, strict=True)
    ):
        return "the outline ends beside the stack, so that some may be missed"
    if _outer_stands_apart(outline, stack, mm_per_px):
        return "the end of an outer shim stands far from the line of the others"
    out = median_filter(filled(outline), 5) * mm_per_px
    top, bottom = (round(end - outline.rows[0]) for end in (stack.top, stack.bottom))
    reach = round(BEYOND * stack.pitch_px)
    sides = (out[max(top - reach, 0) : max(top, 0)][::-1], out[bottom : bottom + reach])
    if any(_bulges(side) for side in sides):
        return "the outline bulges beside the stack, as if another layer lay there"
    return ""


def _outer_stands_apart(outline: Outline, stack: Stack, mm_per_px: float) -> bool:
    """Whether the first or last shim lies off the line of the others: a plate, rather."""
    rows = np.array([m for m, _ in stack.shims])
    if len(rows) < 4:
        return False
    ends = np.interp(rows, outline.rows, median_filter(filled(outline), 9)) * mm_per_px
    i, j = np.triu_indices(len(rows), 1)
    rest = ends - float(np.median((ends[j] - ends[i]) / (rows[j] - rows[i]))) * rows
    off = np.abs(rest - np.median(rest))
    return bool(max(off[0], off[-1]) > APART_MM)


def _bulges(out: Points) -> bool:
    """Whether an outline (N,), mm, rises without a jump, as rubber does."""
    jumps = np.flatnonzero(np.abs(np.diff(out)) > JUMP_MM)
    smooth = out[: jumps[0] + 1] if len(jumps) else out
    return len(smooth) > 0 and float(smooth.max() - smooth[0]) > BULGES_MM


def lost_ends(outline: Outline, stack: Stack, *, within: float) -> tuple[bool, bool]:
    """Whether the outline ends less than so many pitches above, or below, the stack."""
    near = within * stack.pitch_px
    known = outline.rows[np.isfinite(outline.x)]
    return bool(known[0] > stack.top - near), bool(known[-1] < stack.bottom + near)
