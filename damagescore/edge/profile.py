"""The laminated edge seen along its surface: outline and layers next to it."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from damagescore.edge.build import edge_from_curves
from damagescore.edge.inward import follow_inward
from damagescore.edge.lines import straight_tracks
from damagescore.edge.locate import exact_outline
from damagescore.edge.lost_end import doubt_beyond, without_plates
from damagescore.edge.outline import Outline, Track, Turned, filled, turned_array
from damagescore.edge.record import Edge
from damagescore.edge.sampling import medians
from damagescore.edge.slant import Inside, inside_of
from damagescore.edge.stack import Stack, find_stack, goes_on
from damagescore.edge.straighten import Profiles
from damagescore.errors import EdgeError
from damagescore.photo.record import Photo
from damagescore.ranks import median_slope
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

DEPTH_BLOCKS = 8
MOST_NOISE_PX = 1.5
LEAST_SEEN, LEAST_ROWS, LEAST_INSIDE_PX = 0.3, 20, 30.0
"""Share and number of rows in which an outline must be seen; the part's width inside it."""

BESIDE_MM = 0.5
"""Distance from the line of most rows at which a row counts half."""

EXACT_MM = 0.7
"""Depth inside the outline over which it is told where layers reach it."""

INNER_MM = 0.05
"""How far inside the outline its straight inner line is drawn."""

NEAR_MM, DEEP_MM = 0.64, 3.0
"""Depths inside the outline in which the layers are looked for."""

NEAR_TRUST = 0.5
"""What the clarity near the outline counts for, against that deep inside."""

MOST_STEP = 6
"""Rows by which a depth may be moved against the one outside it."""

SURE, CLEAR = 11.0, 5.5
"""A stack this clear ends the search, and one in a part that stands that among those that
lie."""


_Found = tuple[Turned, Outline, Stack, Inside]


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
    tracks = straight_tracks(photo, scale.mm_per_px)
    clearest = max((t.clear for t in tracks), default=1.0)
    # A scale card stands beside the part, outside its outline; parts mostly stand.
    beside = [t for t in tracks if _marks_outside(scale, photo, t)]
    within = [t for t in tracks if not _marks_outside(scale, photo, t)]
    for group in (beside, within):
        best: _Found | None = None
        best_score = 0.0
        for stands in (True, False):
            for track in group:
                if stands != (track.outward in ("right", "left")) or best_score > SURE:
                    continue
                found = _try(photo, scale, track, n_layers)
                score = 0.0 if found is None else _score(scale, found, track.clear / clearest)
                if score > best_score:
                    best, best_score = found, score
            if best_score > CLEAR:
                break
        if best is not None:
            return best
    return None


def _score(scale: Scale, found: _Found, clear: float) -> float:
    """How clear a stack is, how straight its shims' ends lie, how much of it is seen."""
    turned, outline, stack, _ = found
    seen = float(np.isfinite(outline.x).mean())
    return clear * stack.clarity * _straightness(scale, turned, outline, stack) * seen


def _marks_outside(scale: Scale, photo: Photo, track: Track) -> bool:
    points = [np.asarray(m.corners_px, np.float64).mean(axis=0) for m in scale.marks]
    if not points:
        return True
    line = float(np.median(track.x))
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
    off = off - median_slope(rows, off) * rows  # shims lost in the background do no harm
    typical = float(np.median(np.abs(off - np.median(off))))
    return 1.0 / (1.0 + (typical / 0.12) ** 2)


def _try(photo: Photo, scale: Scale, track: Track, n_layers: int | None) -> _Found | None:
    rgb = np.asarray(turned_array(photo.rgb, track.outward), np.uint8)
    turned = Turned(rgb=rgb, outward=track.outward)
    mm_per_px = _mm_along(scale, turned, (track.rows, track.x))
    outline = exact_outline(turned, track, mm_per_px=mm_per_px)
    if not len(outline.rows) or np.isfinite(outline.x).mean() < LEAST_SEEN:
        return None
    if outline.noise_px > MOST_NOISE_PX:
        return None
    found = _stack_inside(turned, outline, outline.rows, mm_per_px, n_layers)
    if found is None:
        return None
    again = _stack_inside(turned, outline, _rows_of(found[2], outline), mm_per_px, n_layers)
    return again if again is not None and again[2].clarity >= found[2].clarity else found


def _rows_of(stack: Stack, outline: Outline) -> Points:
    """Rows of the outline along a stack: plates may stand back, or out, from its line."""
    rows = outline.rows
    return rows[(rows > stack.top) & (rows < stack.bottom)]


def _stack_inside(
    turned: Turned, outline: Outline, rows: Points, mm_per_px: float, n_layers: int | None
) -> _Found | None:
    """The stack inside an outline, whose line some rows tell."""
    if np.isfinite(np.interp(rows, outline.rows, outline.x)).sum() < LEAST_ROWS:
        return None
    line = _inner_line(outline, rows, mm_per_px)
    if line.min() < LEAST_INSIDE_PX:
        return None
    inside = inside_of(turned, outline.rows, line, mm_per_px=mm_per_px)
    stack = _stack_along(turned, outline, inside, mm_per_px, n_layers)
    return None if stack is None else (turned, outline, stack, inside)


def _stack_along(
    turned: Turned, outline: Outline, inside: Inside, mm_per_px: float, n_layers: int | None
) -> Stack | None:
    """The stack seen along a straight line and deep inside it, or else at the outline.

    Smears and chalk at the outline hide or feign the ends of shims, which deeper
    inside can be told from them.
    """
    x = np.minimum(median_filter(filled(outline), 5), inside.line)
    near, deep = NEAR_MM / mm_per_px, DEEP_MM / mm_per_px
    views = (
        (_aligned(_depth_profiles(turned, inside, x, deep)), 1.0),
        (_depth_profiles(turned, inside, x, near), NEAR_TRUST),
    )
    best, most = None, 0.0
    for profiles, trust in views:
        stack = find_stack(profiles, mm_per_px=mm_per_px, n_layers=n_layers)
        if stack is not None and trust * stack.clarity > most:
            most = trust * stack.clarity
            best = replace(stack, clarity=most)
    if best is None or n_layers is not None:
        return best
    best = without_plates(outline, best, mm_per_px)
    if not best.doubt and goes_on(views[0][0], best):
        best = replace(best, doubt="what lies beside the stack looks like its rubber")
    return best


def _inner_line(outline: Outline, rows: Points, mm_per_px: float) -> Points:
    """Straight line (N,) just inside most of the outline, as told by some of the rows.

    A tenth of them may lie behind it: the regression for that quantile, by weights. Rows
    far from it, beyond the part's ends, hardly count. Along it bulges and notches do
    not bend the layers.
    """
    x = np.interp(rows, outline.rows, outline.x)
    rows, x = rows[np.isfinite(x)], x[np.isfinite(x)]
    few = np.unique(np.linspace(0, len(rows) - 1, 90).astype(np.intp))
    slope = float(median_slope(rows[few], x[few]))  # where the line is looked for from
    terms = np.array([slope, float(np.median(x - slope * rows))])
    for _ in range(12):
        off = x - np.polyval(terms, rows)
        weight = np.where(off < 0, 0.9, 0.1) / np.maximum(np.abs(off), 1.0)
        weight /= 1.0 + (off * mm_per_px / BESIDE_MM) ** 2
        terms = np.polyfit(rows, x, 1, w=np.sqrt(weight))
    return np.asarray(np.polyval(terms, outline.rows) - INNER_MM / mm_per_px)


def _mm_along(scale: Scale, turned: Turned, course: tuple[Points, Points]) -> float:
    """Millimetres per pixel along an outline (rows, x) at its middle."""
    rows, x = course
    at = np.array([float(np.nanmedian(x)), rows[len(rows) // 2]])
    step = np.array([0.0, 10.0])
    ends = turned.to_photo(np.array([at - step, at + step]))
    mm = scale.surface.to_mm(ends)
    return float(np.hypot(*(mm[1] - mm[0]))) / 20.0


def _depth_profiles(turned: Turned, inside: Inside, x: Points, deep_px: float) -> Profiles:
    """Profiles along a course (N,) at several depths inside it, as the layers run."""
    deep = min(deep_px, float(x.min()) - 6)
    wide = max(round(deep / DEPTH_BLOCKS), 2)
    depth = 3.0 + np.arange(DEPTH_BLOCKS * wide)
    strip = inside.strip(turned, x, depth)
    rows = inside.rows
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
    inside: Inside,
    *,
    n_layers: int | None,
) -> Edge:
    starts = [stack.bottom]
    for middle, thickness in reversed(stack.shims):
        starts += [middle + thickness / 2, middle - thickness / 2]
    starts.append(stack.top)
    mm_per_px = _mm_along(scale, turned, (outline.rows, outline.x))
    exact = _exact_rows(turned, outline, inside, np.array(starts), mm_per_px)
    lines = follow_inward(turned, outline, exact, inside=inside, mm_per_px=mm_per_px)
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


def _exact_rows(
    turned: Turned, outline: Outline, inside: Inside, rows: Points, mm_per_px: float
) -> Points:
    """Rows at which boundaries reach the outline: the steepest place just inside it."""
    depth = 3.0 + np.arange(max(round(EXACT_MM / mm_per_px), 4))
    x = np.minimum(median_filter(filled(outline), 5), inside.line)
    strip = inside.strip(turned, x, depth)
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
