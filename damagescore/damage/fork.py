"""From a network in a straightened layer to centre lines in the photo, joined at forks."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label as label_runs
from scipy.spatial import cKDTree

from damagescore.damage.body import Body, beyond_others, body_of
from damagescore.damage.centreline import centre, resample, smooth
from damagescore.damage.doubt import doubtful_px
from damagescore.damage.seam import seam_of
from damagescore.damage.spurs import spurs_beside
from damagescore.damage.strands import is_drawn, strands_beside
from damagescore.damage.strip import Strip
from damagescore.damage.surround import Surround, surround_of
from damagescore.damage.tips import with_true_end
from damagescore.edge.record import Edge
from damagescore.photo.along import run_of
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

STROKE_MM = 0.3
"""Nearer than this to another path, the darkness may belong to either."""

TANGENT_MM = 1.5
"""A branch is lengthened backwards by this much at most."""

DOUBTFUL = 0.5
"""A strand more than half of which may be the surface's own drawing is left out."""

MOST_GROWN = 3.0
"""A strand is not followed to more than this many times what was seen of it: a walk that goes
on so far has found another line, as a joint of the mould."""

FOOT_MM = 2.5
"""A branch may have left its stroke this far before the search sees it apart."""

SAME_MM = 0.12
"""A walk that comes this near to another path has run into it."""


def photo_lines(
    photo: Photo,
    edge: Edge,
    strip: Strip,
    *,
    lines: tuple[Points, ...],
    scale: Scale,
    others: Iterable[Points] = (),
) -> tuple[Points, ...]:
    """Centre lines in the photo, ends where the dark stroke ends.

    Parameters
    ----------
    lines : tuple of ndarray, shape (N, 2)
        Strip samples (column, row): the main path, then branches, each starting
        on a path before it.
    others : iterable of ndarray, shape (N, 2)
        Lines of other cracks of the strip, in its samples too.
    """
    made: list[Points] = []
    step = max(1.0, 0.04 / scale.mm_per_px)
    rough = [smooth(resample(strip.to_photo(x), step_px=step), spread=2.0) for x in lines]
    around = surround_of(
        photo.grey, np.vstack(rough), edge.judged, px_per_mm=1 / scale.mm_per_px
    )
    apart = [strip.to_photo(x) for x in others]
    body = body_of(around, rough, step_px=step, others=apart)
    for line in rough if body is None else body.lines:
        if not made:
            centred = line if body else _centred(photo, line, scale)
            drawn: Points | None = _main(photo, edge, around, centred, strip.layer)
        elif body is None:
            drawn = _branch(photo, around, line, made, scale)
        else:
            drawn = _body_branch(around, line, made, body)
        if drawn is not None:
            made.append(drawn)
    return tuple(_with_strands(photo, edge, around, made, apart))


def _with_strands(
    photo: Photo, edge: Edge, around: Surround, made: list[Points], apart: list[Points]
) -> list[Points]:
    """Add branches and loops too close to the strokes for the search to have parted them.

    What runs on the lines of other cracks, `apart`, is theirs.
    """
    lines = list(made)
    for k, line in enumerate(made):
        others = lines[:k] + lines[k + 1 :]
        courses = strands_beside(
            photo.grey, line, others, along=edge.frame[0], px_per_mm=around.px_per_mm
        )
        for course in courses:
            drawn = _strand(around, course, lines)
            begun = None if drawn is None else _begins(drawn, lines, k, around.px_per_mm)
            if begun is not None:
                lines[begun[0]] = begun[1]
            elif drawn is not None:
                lines.append(drawn)
    for course in spurs_beside(around, lines, along=edge.frame[0]):
        drawn = _spur(around, course, lines)
        if drawn is not None and not is_drawn(drawn, apart, around.px_per_mm):
            lines.append(drawn)
    return lines


def _begins(
    strand: Points, lines: list[Points], own: int, px_per_mm: float
) -> tuple[int, Points] | None:
    """A branch whose straight foot a strand shows the true course of: which, and its line."""
    for way in (strand, strand[::-1]):
        for k, branch in enumerate(lines):
            away = np.hypot(*(branch - way[-1]).T)
            met = int(np.argmin(away))
            foot = np.hypot(*np.diff(branch[: met + 1], axis=0).T).sum()
            if 0 < k != own and away[met] < 1.0 and foot < FOOT_MM * px_per_mm:
                return k, np.vstack([way, branch[met + 1 :]])
    return None


def _strand(around: Surround, course: Points, lines: list[Points]) -> Points | None:
    """A strand from its stroke to its tip or back; None where it meets no stroke."""
    px_per_mm = around.px_per_mm
    even = resample(course, step_px=max(1.0, 0.04 * px_per_mm))
    line, met = smooth(even, spread=2.0), []
    if doubtful_px(around, [line]) > DOUBTFUL * run_of(line)[-1]:
        return None
    for _ in range(2):
        others = np.vstack(lines)
        if _distance(others, line[-1]) > STROKE_MM * px_per_mm:
            ended = with_true_end(around, line)
            line = _cut_where_met(ended, others, reach_px=SAME_MM * px_per_mm)
        if _distance(others, line[-1]) <= STROKE_MM * px_per_mm:
            main = _nearest(lines, line[-1])
            line = joined_to(line[::-1], main, reach_px=TANGENT_MM * px_per_mm)[::-1]
        met.append(_distance(others, line[-1]) < 1.0)
        line = line[::-1]
    if not any(met) or run_of(line)[-1] > MOST_GROWN * run_of(even)[-1]:
        return None
    return line if met[1] else line[::-1]  # a branch starts on its stroke


def _spur(around: Surround, course: Points, lines: list[Points]) -> Points | None:
    """A line seen to hang on a stroke, from there to its tip; None where a walk runs away."""
    px_per_mm, others = around.px_per_mm, np.vstack(lines)
    even = resample(course, step_px=max(1.0, 0.04 * px_per_mm))
    if _distance(others, even[-1]) < _distance(others, even[0]):
        even = even[::-1]
    line = smooth(even, spread=2.0)
    reach = TANGENT_MM * px_per_mm
    if _distance(others, line[-1]) > STROKE_MM * px_per_mm:
        ended = with_true_end(around, line, others)
        ended = _cut_where_met(ended, others, reach_px=SAME_MM * px_per_mm)
        # A walk ends where it is paler than its stroke's tips are; the line was seen whole.
        line = max(line, ended, key=lambda x: float(run_of(x)[-1]))
    if run_of(line)[-1] > MOST_GROWN * run_of(even)[-1]:
        return None
    line = joined_to(line, _nearest(lines, line[0]), reach_px=reach)
    if _distance(others, line[-1]) <= STROKE_MM * px_per_mm:
        line = joined_to(line[::-1], _nearest(lines, line[-1]), reach_px=reach)[::-1]
    return line


def _main(photo: Photo, edge: Edge, around: Surround, line: Points, layer: int) -> Points:
    """The main path from tip to tip; on a border the border says where its gap ends."""
    home = next(x for x in edge.rubber if x.index == layer)
    seam = seam_of(photo, edge, home, line=line, px_per_mm=around.px_per_mm)
    for _ in range(2):
        if seam is not None and seam.holds_end(line):
            line = seam.ended(line)[::-1]
        else:
            line = with_true_end(around, line)[::-1]
    return line


def _centred(photo: Photo, rough: Points, scale: Scale) -> Points:
    return centre(photo.grey, rough, reach_px=max(3.0, 0.2 / scale.mm_per_px))


def _branch(
    photo: Photo, around: Surround, rough: Points, made: list[Points], scale: Scale
) -> Points | None:
    """The branch from its foot to its tip; None where it never leaves the others' strokes."""
    px_per_mm = 1 / scale.mm_per_px
    own, returns = leave_stroke(
        rough, np.vstack(made), reach_px=STROKE_MM * px_per_mm, same_px=SAME_MM * px_per_mm
    )
    if len(own) < 4:
        return None
    fine = _centred(photo, own, scale)
    others = np.vstack(made)
    if not returns:
        ended = with_true_end(around, fine)
        fine = _cut_where_met(ended, others, reach_px=SAME_MM * px_per_mm)
        # A walk that ends inside another stroke has come back to it.
        returns = _distance(others, fine[-1]) < STROKE_MM * px_per_mm / 2
    reach = TANGENT_MM * px_per_mm
    joined = joined_to(fine, _nearest(made, rough[0]), reach_px=reach)
    if returns:
        joined = joined_to(joined[::-1], _nearest(made, joined[-1]), reach_px=reach)[::-1]
    return joined


def _body_branch(
    around: Surround, line: Points, made: list[Points], body: Body
) -> Points | None:
    """A branch of a dark crack; None where it does not stand out of the others' openings."""
    px_per_mm = around.px_per_mm
    own, returns = beyond_others(line, made, body)
    if len(own) == 0:
        return None
    if not returns:
        own = with_true_end(around, own, np.vstack(made))
    reach = TANGENT_MM * px_per_mm
    joined = joined_to(own, _nearest(made, line[0]), reach_px=reach)
    if returns:
        joined = joined_to(joined[::-1], _nearest(made, line[-1]), reach_px=reach)[::-1]
    return joined


def _nearest(made: list[Points], place: Points) -> Points:
    return min(made, key=lambda line: _distance(line, place))


def _distance(line: Points, place: Points) -> float:
    return float(np.min(np.hypot(*(line - place).T)))


def leave_stroke(
    branch: Points, others: Points, *, reach_px: float, same_px: float
) -> tuple[Points, bool]:
    """The longest part of a branch outside the strokes of the other paths.

    Inside them the darkness belongs to both, and the branch cannot be centred.
    A part nearer than `reach_px` that never comes within `same_px` runs beside
    the other stroke, not in it. The second value says that the branch comes back
    to another path at its end.
    """
    away = cKDTree(others).query(branch)[0]
    near, count = label_runs(away < reach_px)
    met = [k for k in range(1, count + 1) if away[near == k].min() < same_px]
    runs, count = label_runs(~np.isin(near, met))
    if count == 0:
        return branch[:0], False
    best = 1 + int(np.argmax([np.sum(runs == k) for k in range(1, count + 1)]))
    return branch[runs == best], bool(runs[-1] != best)


def joined_to(branch: Points, main: Points, *, reach_px: float) -> Points:
    """Lengthen a branch backwards, straight on, to the middle of its main path.

    Joins at the main path's vertex nearest to the backward tangent, within
    `reach_px`; at the nearest vertex where the tangent misses.
    """
    n_aim = min(8, len(branch) - 1)
    aim = branch[0] - branch[n_aim]
    aim = aim / max(float(np.hypot(*aim)), 1e-9)
    away = main - branch[0]
    ahead = away @ aim
    distance = np.hypot(*away.T)
    beside = np.sqrt(np.maximum(distance**2 - ahead**2, 0.0))
    fit = (ahead > 0) & (distance <= reach_px)
    # Near the tangent first, then near the branch: a shallow fork meets many vertices.
    cost = np.where(fit, beside + 0.25 * distance, np.inf)
    foot = int(np.argmin(cost)) if fit.any() else int(np.argmin(distance))
    return np.vstack([main[foot], branch])


def _cut_where_met(line: Points, others: Points, *, reach_px: float) -> Points:
    """Cut the end of a line that has walked on along another path."""
    apart = np.flatnonzero(cKDTree(others).query(line)[0] >= reach_px)
    return line[: apart[-1] + 1] if len(apart) and apart[-1] >= 3 else line
