"""The laminated edge seen along its surface: outline and layers next to it."""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from damagescore.edge.build import edge_from_curves
from damagescore.edge.inward import follow_inward
from damagescore.edge.lost_end import SEARCHED_END, doubt_beyond, longer, lost_ends
from damagescore.edge.outline import (
    Outline,
    Track,
    Turned,
    exact_outline,
    filled,
    rough_outlines,
    turned_array,
)
from damagescore.edge.record import Edge
from damagescore.edge.sampling import medians, sample_part
from damagescore.edge.stack import Stack, find_stack
from damagescore.edge.straighten import Profiles
from damagescore.errors import EdgeError
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

DEPTH_BLOCKS = 8
MOST_TRACKS = 12
MOST_NOISE_PX = 1.5
NOTCH_MM = 2.6
"""How deep a shim may stand back between two bulged layers."""

INNER_MM = 0.05
"""How far inside the outline its straight inner line is drawn."""

NEAR_MM, DEEP_MM = 0.64, 3.0
"""Depths inside the outline in which the layers are looked for."""

NEAR_TRUST = 0.5
"""What the clarity near the outline counts for, against that deep inside."""

MOST_STEP = 6
"""Rows by which a depth may be moved against the one outside it."""

MORE_LAYERS = 3.0
"""Pitches by which an outline is looked for beyond where its background ends."""

LONGER, MOST_LONGER = 0.35, 2
"""Share of the photo's height by which a few upright outlines are looked for further on,
where no stack is clear."""

SURE = 11.0
"""A stack this clear ends the search."""


_Found = tuple[Turned, Outline, Stack]


def find_profile_edge(photo: Photo, scale: Scale, *, n_layers: int | None = None) -> Edge:
    """Find the part's outline and the layers that reach it.

    Parameters
    ----------
    photo : Photo
    scale : Scale
    n_layers : int or None
        Number of rubber layers where it is known; found otherwise.

    Returns
    -------
    Edge
        `outline_px` holds the outline along the stack, from its upper end down.

    Raises
    ------
    EdgeError
        Where no outline with layers of rubber and shims stands out.
    """
    found = _best_outline(photo, scale, n_layers)
    if found is None:
        raise EdgeError(
            "No outline of a stack of rubber layers and shims was found in the photo.",
            remedy="Put a plain bright background behind the part and take it along its edge.",
        )
    return _assembled(photo, scale, *found, n_layers=n_layers)


def _best_outline(photo: Photo, scale: Scale, n_layers: int | None) -> _Found | None:
    tracks, factor = rough_outlines(photo)
    # A scale card stands beside the part: outside its outline.
    tracks.sort(key=lambda t: (not _marks_outside(scale, photo, t, factor), -len(t.rows)))
    best: _Found | None = None
    best_score = 0.0
    for track in _and_longer(tracks[:MOST_TRACKS], scale, photo, factor):
        if best_score > SURE and best is not None and len(best[2].shims) > 2:
            break
        found = _try(photo, scale, track, factor, n_layers)
        if found is None:
            continue
        score = found[2].clarity * _straightness(scale, *found)
        score *= 1.0 if _marks_outside(scale, photo, track, factor) else 0.5
        # Parts are mostly photographed standing.
        score *= 1.0 if track.outward in ("right", "left") else 0.7
        if score > best_score:
            best, best_score = found, score
    return None if best is None else _with_lost_end(photo, scale, best, factor, n_layers)


def _and_longer(
    tracks: list[Track], scale: Scale, photo: Photo, factor: float
) -> Iterator[Track]:
    """The tracks, and then the first upright ones made longer: they may go on unseen."""
    yield from tracks
    standing = [t for t in tracks if t.outward in ("right", "left")]
    for track in standing[:MOST_LONGER]:
        if _marks_outside(scale, photo, track, factor):
            more = LONGER * photo.height * factor
            yield longer(track, (more, more), height=photo.height * factor)


def _with_lost_end(
    photo: Photo, scale: Scale, found: _Found, factor: float, n_layers: int | None
) -> _Found:
    """The same, or with more layers where the outline goes on before another background.

    A rough outline ends with its background, at the end of the bench, say. Where the stack
    reaches that end, the outline is looked for straight on, a few layers further.
    """
    turned, outline, stack = found
    ends = lost_ends(outline, stack, within=SEARCHED_END)
    if not any(ends):
        return found
    more = MORE_LAYERS * stack.pitch_px * factor
    x = median_filter(filled(outline), 9)
    track = Track(
        rows=(outline.rows + 0.5) * factor - 0.5,
        x=(x + 0.5) * factor - 0.5,
        outward=turned.outward,
    )
    track = longer(track, (more * ends[0], more * ends[1]), height=turned.rgb.shape[0] * factor)
    again = _try(photo, scale, track, factor, n_layers)
    if again is None:
        return found
    doubt = again[2].doubt or doubt_beyond(
        again[1], again[2], _mm_along(scale, turned, (outline.rows, outline.x))
    )
    if len(again[2].shims) > len(stack.shims) and not doubt:
        return again
    return turned, outline, replace(stack, doubt=stack.doubt or doubt)


def _marks_outside(scale: Scale, photo: Photo, track: Track, factor: float) -> bool:
    points = [np.asarray(m.corners_px, np.float64).mean(axis=0) for m in scale.marks]
    if not points:
        return True
    line = float(np.median(track.x)) / factor
    x, y = np.mean(points, axis=0)
    outward = {"right": x, "left": photo.width - 1 - x, "down": y, "up": photo.height - 1 - y}
    return float(outward[track.outward]) > line


def _straightness(scale: Scale, turned: Turned, outline: Outline, stack: Stack) -> float:
    """1 where the shims' ends lie on one line, towards 0 where they do not."""
    rows = np.array([m for m, _ in stack.shims])
    if len(rows) < 3:
        return 0.7
    ends = turned.to_photo(
        np.column_stack([np.interp(rows, outline.rows, filled(outline)), rows])
    )
    mm = scale.surface.to_mm(ends)
    chord = mm[-1] - mm[0]
    normal = np.array([-chord[1], chord[0]]) / (np.hypot(*chord) + 1e-9)
    off = mm @ normal
    # Median of pairwise slopes: one or two shims lost in the background do no harm.
    i, j = np.triu_indices(len(rows), 1)
    off = off - float(np.median((off[j] - off[i]) / (rows[j] - rows[i]))) * rows
    typical = float(np.median(np.abs(off - np.median(off))))
    return 1.0 / (1.0 + (typical / 0.12) ** 2)


def _try(
    photo: Photo, scale: Scale, track: Track, factor: float, n_layers: int | None
) -> _Found | None:
    rgb = np.asarray(turned_array(photo.rgb, track.outward), np.uint8)
    turned = Turned(rgb=rgb, outward=track.outward)
    notch_px = NOTCH_MM / _mm_along(scale, turned, _whole(track, factor))
    outline = exact_outline(turned, track, factor, notch_px=notch_px)
    if len(outline.rows) < 40 or np.isfinite(outline.x).mean() < 0.5:
        return None
    if outline.noise_px > MOST_NOISE_PX:
        return None
    mm_per_px = _mm_along(scale, turned, (outline.rows, outline.x))
    stack = _stack_along(turned, outline, mm_per_px, n_layers)
    return None if stack is None else (turned, outline, stack)


def _stack_along(
    turned: Turned, outline: Outline, mm_per_px: float, n_layers: int | None
) -> Stack | None:
    """The stack seen along a straight line and deep inside it, or else at the outline.

    Smears and chalk at the outline hide or feign the ends of shims, which deeper
    inside can be told from them.
    """
    line = _inner_line(outline, mm_per_px)
    x = median_filter(filled(outline), 5)
    views = (
        (_aligned(_depth_profiles(turned, outline.rows, line, DEEP_MM / mm_per_px)), 1.0),
        (_depth_profiles(turned, outline.rows, line, NEAR_MM / mm_per_px), NEAR_TRUST),
        (_depth_profiles(turned, outline.rows, x, NEAR_MM / mm_per_px), NEAR_TRUST),
    )
    best, most = None, 0.0
    for profiles, trust in views:
        stack = find_stack(profiles, mm_per_px=mm_per_px, n_layers=n_layers)
        if stack is not None and trust * stack.clarity > most:
            most = trust * stack.clarity
            best = replace(stack, clarity=most)
    return best


def _whole(track: Track, factor: float) -> tuple[Points, Points]:
    """Rows and x of a rough outline in the turned photo."""
    return (track.rows + 0.5) / factor - 0.5, (track.x + 0.5) / factor - 0.5


def _inner_line(outline: Outline, mm_per_px: float) -> Points:
    """Straight line (N,) just inside most of the outline.

    A tenth of the rows may lie behind it: the regression for that quantile, by
    weights. Along it bulges and notches do not bend the layers.
    """
    x = filled(outline)
    terms = np.polyfit(outline.rows, x, 1)
    for _ in range(12):
        off = x - np.polyval(terms, outline.rows)
        weight = np.where(off < 0, 0.9, 0.1) / np.maximum(np.abs(off), 1.0)
        terms = np.polyfit(outline.rows, x, 1, w=np.sqrt(weight))
    return np.asarray(np.polyval(terms, outline.rows) - INNER_MM / mm_per_px)


def _mm_along(scale: Scale, turned: Turned, course: tuple[Points, Points]) -> float:
    """Millimetres per pixel along an outline (rows, x) at its middle."""
    rows, x = course
    at = np.array([float(np.nanmedian(x)), rows[len(rows) // 2]])
    step = np.array([0.0, 10.0])
    ends = turned.to_photo(np.array([at - step, at + step]))
    mm = scale.surface.to_mm(ends)
    return float(np.hypot(*(mm[1] - mm[0]))) / 20.0


def _depth_profiles(turned: Turned, rows: Points, x: Points, deep_px: float) -> Profiles:
    """Profiles along a line (rows, x) at several depths inside it."""
    deep = min(deep_px, float(x.min()) - 6)
    wide = max(round(deep / DEPTH_BLOCKS), 2)
    depth = 3 + np.arange(DEPTH_BLOCKS * wide)
    strip = sample_part(turned.rgb, x[:, None] - depth, rows[:, None])
    shaped = strip.reshape(len(x), DEPTH_BLOCKS, wide, 3) + 8.0
    middle = gaussian_filter1d(medians(shaped, 2), 1.0, axis=0).astype(np.float64)
    luma = middle @ np.array([0.299, 0.587, 0.114])
    values = np.stack(
        [np.log(luma), np.log(middle[..., 0] / luma), np.log(middle[..., 2] / luma)], axis=-1
    )
    return Profiles(
        levels_px=rows,
        s_px=-depth.reshape(DEPTH_BLOCKS, wide).mean(axis=1),
        values=values.astype(np.float32),
    )


def _aligned(profiles: Profiles) -> Profiles:
    """The same with each depth moved along the outline onto those outside it.

    A ring seen at a slant turns up towards the outline: its layers lie elsewhere
    further in.
    """
    luma = np.nan_to_num(profiles.values[..., 0].astype(np.float64))
    rise = np.clip(gaussian_filter1d(luma, 2.0, axis=0, order=1), -0.05, 0.05)
    common = rise[:, 0].copy()
    moved, shift = [profiles.values[:, 0]], 0
    for k in range(1, rise.shape[1]):
        tried = range(shift - MOST_STEP, shift + MOST_STEP + 1)
        shift = max(tried, key=lambda d: float(common @ np.roll(rise[:, k], d)))
        common += np.roll(rise[:, k], shift)
        moved.append(np.roll(profiles.values[:, k], shift, axis=0))
    return Profiles(
        levels_px=profiles.levels_px, s_px=profiles.s_px, values=np.stack(moved, axis=1)
    )


def _assembled(
    photo: Photo,
    scale: Scale,
    turned: Turned,
    outline: Outline,
    stack: Stack,
    *,
    n_layers: int | None,
) -> Edge:
    starts = [stack.bottom]
    for middle, thickness in reversed(stack.shims):
        starts += [middle + thickness / 2, middle - thickness / 2]
    starts.append(stack.top)
    mm_per_px = _mm_along(scale, turned, (outline.rows, outline.x))
    exact = _exact_rows(turned, outline, np.array(starts), mm_per_px)
    lines = follow_inward(turned, outline, exact, mm_per_px=mm_per_px)
    across = turned.to_photo(np.array([[0.0, 0.0], [-1.0, 0.0]]))
    step = across[0] - across[1]
    if step[0] < 0 or (step[0] == 0 and step[1] < 0):
        step = -step
    doubt = stack.doubt
    if n_layers is None and not doubt:
        doubt = doubt_beyond(outline, stack, mm_per_px)
    return Edge(
        layers=edge_from_curves(
            [_left_to_right(turned.to_photo(x), step) for x in lines],
            scale,
            shape=(photo.height, photo.width),
        ).layers,
        shape=(photo.height, photo.width),
        direction_deg=math.degrees(math.atan2(step[1], step[0])),
        outline_px=_stack_outline(turned, outline, stack),
        doubt=doubt,
    )


def _exact_rows(turned: Turned, outline: Outline, rows: Points, mm_per_px: float) -> Points:
    """Rows at which boundaries reach the outline: the steepest place just inside it."""
    depth = 3 + np.arange(max(round(0.5 / mm_per_px), 4))
    x = median_filter(filled(outline), 5)
    strip = sample_part(turned.rgb, x[:, None] - depth, outline.rows[:, None])
    change = gaussian_filter1d(medians(strip, 1).astype(np.float64), 1.2, axis=0, order=1)
    found = []
    for row in rows:
        at = round(row - outline.rows[0])
        near = slice(max(at - 4, 1), min(at + 5, len(change) - 1))
        toward = change[near].mean(axis=0)
        rise = change @ (toward / (np.linalg.norm(toward) + 1e-9))
        k = near.start + int(np.argmax(rise[near]))
        bend = rise[k - 1] - 2 * rise[k] + rise[k + 1]
        part = 0.5 * (rise[k - 1] - rise[k + 1]) / bend if bend < 0 else 0.0
        found.append(outline.rows[k] + float(np.clip(part, -1, 1)))
    return np.maximum.accumulate(np.array(found)[::-1])[::-1]


def _left_to_right(line: Points, along: Points) -> Points:
    return line if (line[-1] - line[0]) @ along >= 0 else line[::-1]


def _stack_outline(turned: Turned, outline: Outline, stack: Stack) -> Points:
    """The outline from a little above the stack to a little below, photo pixels."""
    margin = 0.3 * stack.pitch_px
    near = (outline.rows >= stack.top - margin) & (outline.rows <= stack.bottom + margin)
    near &= np.isfinite(outline.x)
    return turned.to_photo(np.column_stack([outline.x[near], outline.rows[near]]))
