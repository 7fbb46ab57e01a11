"""Automatic proposals of cracks and bond gaps."""

from dataclasses import dataclass
from itertools import chain

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.confidence import fitted_model, least_chance
from damagescore.damage.evidence import GAP_ALONG, Evidence, evidence_of
from damagescore.damage.fork import photo_lines
from damagescore.damage.gaps import Piece, near_a_tip, pieces_from, suggested_links
from damagescore.damage.gates import GATES, Gates
from damagescore.damage.line_mask import line_mask
from damagescore.damage.lines import layer_of, measure_lines
from damagescore.damage.links import Link
from damagescore.damage.network import Paths, crossings, link, networks, thin
from damagescore.damage.once import counted_once
from damagescore.damage.record import Finding, FindingKind
from damagescore.damage.ridge import Ridge, ridge_of
from damagescore.damage.stretches import has_own_lines, without_weak
from damagescore.damage.strip import Strip, blurred, strips_of
from damagescore.edge.record import Edge
from damagescore.errors import UsageError
from damagescore.photo.record import Photo
from damagescore.ranks import median, quantile
from damagescore.scale.record import Scale
from damagescore.side_by_side import side_by_side

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

LINK_MM = 1.5
"""Pieces are joined over gaps up to this wide."""


MEETS_MM = 1.0
"""A paler line that meets a crack must be this long to be told apart from it."""

LEAST_FAINT = 0.05
"""A line less likely than this is not suggested either."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A line network of one strip, in strip samples, with what speaks for it."""

    lines: tuple[Points, ...]
    evidence: Evidence
    chance: float


def find_cracks(
    photo: Photo,
    edge: Edge,
    scale: Scale,
    *,
    sensitivity: float = 0.5,
    exclude: Mask | None = None,
) -> tuple[Finding, ...]:
    """Propose cracks and bond gaps on the rubber of a face view.

    A proposal is not yet a measurement: an inspector confirms, corrects or
    rejects it. One physical crack is one finding: its main path first, then its
    branches.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    scale : Scale
    sensitivity : float
        0 (only the plainest lines) to 1 (everything suspicious): the chance from which a
        line is proposed, 0.95 at 0, 0.5 in the middle, 0.05 at 1.
    exclude : ndarray of bool, shape (H, W), optional
        True where nothing may be found, for instance in crumbled areas.

    Returns
    -------
    tuple of Finding
        Kinds "crack" and "bond_gap", longest first.

    Raises
    ------
    UsageError
        When the sensitivity lies outside 0 to 1.

    Notes
    -----
    A finding's strength is the fitted chance that it is real (`confidence.Model.chance`).

    Known bias: a tip that tapers below about 0.05 mm fades into the rubber's own
    grain and is not seen, so lengths come out up to a few percent short.
    """
    return search_cracks(photo, edge, scale, sensitivity=sensitivity, exclude=exclude)[0]


def search_cracks(
    photo: Photo,
    edge: Edge,
    scale: Scale,
    *,
    sensitivity: float = 0.5,
    exclude: Mask | None = None,
) -> tuple[tuple[Finding, ...], tuple[Link, ...]]:
    """Propose cracks and bond gaps, and where one may go on beyond a gap.

    Parameters as for `find_cracks`, which gives the findings alone.
    """
    findings, pieces = pieces_of(photo, edge, scale, sensitivity=sensitivity, exclude=exclude)
    return findings, suggested_links(photo, edge, scale, pieces)


def pieces_of(
    photo: Photo,
    edge: Edge,
    scale: Scale,
    *,
    sensitivity: float = 0.5,
    exclude: Mask | None = None,
) -> tuple[tuple[Finding, ...], list[Piece]]:
    """The findings, and as pieces of lines these and the fainter ones near their tips."""
    if not 0.0 <= sensitivity <= 1.0:
        raise UsageError(
            f"The sensitivity is {sensitivity}, outside 0 to 1.",
            remedy="Give a number from 0 (fewest proposals) to 1 (most).",
        )
    least = least_chance(sensitivity)
    every = candidates_of(photo, edge, scale, exclude=exclude)
    found = [(strip, c) for strip, c in every if c.chance >= least]
    found.sort(key=lambda f: -f[1].evidence.length_mm)

    def lines_of(one: tuple[Strip, Candidate]) -> tuple[Points, ...]:
        strip, candidate = one
        beside = [c.lines for s, c in found if s is strip and c is not candidate]
        return photo_lines(
            photo, edge, strip, lines=candidate.lines, scale=scale,
            others=chain.from_iterable(beside),
        )  # fmt: skip

    drawn = counted_once(side_by_side(lines_of, found), px_per_mm=1 / scale.mm_per_px)
    left = [(strip, c, lines) for (strip, c), lines in zip(found, drawn, strict=True) if lines]

    def finding(number: int) -> Finding:
        strip, candidate, lines = left[number]
        return _finding(
            photo, edge, scale,
            candidate=candidate, layer=strip.layer, lines=lines, number=number + 1,
        )  # fmt: skip

    findings = tuple(side_by_side(finding, range(len(left))))
    pieces = pieces_from(findings)
    for strip, candidate in every:
        if not LEAST_FAINT <= candidate.chance < least:
            continue
        beside = [p for p in pieces if p.name is not None and p.layer == strip.layer]
        if near_a_tip(strip.to_photo(candidate.lines[0]), beside, scale):
            lines = photo_lines(photo, edge, strip, lines=candidate.lines, scale=scale)
            pieces.append(
                Piece(name=None, layer=strip.layer, chance=candidate.chance, lines=lines)
            )
    return findings, pieces


def candidates_of(
    photo: Photo, edge: Edge, scale: Scale, *, exclude: Mask | None = None
) -> list[tuple[Strip, Candidate]]:
    """Every line that is weighed, with the straightened layer that it lies in.

    Most are no cracks: their chance says so. Parameters as for `find_cracks`.
    """
    strips = strips_of(photo, edge, scale, exclude=_widened(exclude, scale))
    found = side_by_side(_candidates, strips)
    return [(strip, c) for strip, cs in zip(strips, found, strict=True) for c in cs]


def _widened(exclude: Mask | None, scale: Scale) -> Mask | None:
    """Loosened rubber reaches a little beyond the outline that was drawn round it."""
    if exclude is None or not exclude.any():
        return None
    reach = round(0.3 / scale.mm_per_px)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    wide = exclude.astype(np.uint8)
    x, y, width, height = cv2.boundingRect(wide)
    # A kernel this large takes long over a whole photo.
    x0, y0 = max(0, x - reach), max(0, y - reach)
    box = np.s_[y0 : y + height + reach, x0 : x + width + reach]
    wide[box] = cv2.dilate(wide[box], kernel)
    return np.asarray(wide, bool)


def _candidates(strip: Strip, gates: Gates = GATES) -> list[Candidate]:
    if not strip.judged.any():
        return []
    ridge = ridge_of(strip)
    core = blurred(ridge.dark, 0.025 * strip.px_per_mm)
    mask = line_mask(ridge, core, strip.judged, gates=gates, px_per_mm=strip.px_per_mm)
    every = thin(mask)
    skeleton = _dark_pieces(every, core, gates=gates, px_per_mm=strip.px_per_mm)
    skeleton = _without_granular(skeleton, strip.px_per_mm)
    reach_px = LINK_MM * strip.px_per_mm
    joined = link(skeleton, ridge.z, reach_px=reach_px, least=2.0, darkness=core)
    other = np.zeros_like(joined)
    if not has_own_lines(every, strip.px_per_mm):
        other = crossings(joined, core, least_px=MEETS_MM * strip.px_per_mm)
        joined &= ~other
    trimmed = without_weak(
        joined, ridge, core, every=every, gates=gates, px_per_mm=strip.px_per_mm
    )
    if np.any(trimmed != joined):
        # What is left of the gaps between crumbs is no crack either.
        joined = trimmed & _without_granular(joined, strip.px_per_mm)
    paths = networks(joined, shortest_branch_px=0.55 * strip.px_per_mm)
    if other.any():
        # A paler crack goes on where a darker one lies over it.
        over = link(other, ridge.z, reach_px=reach_px, least=2.0)
        paths += networks(over, shortest_branch_px=0.55 * strip.px_per_mm)
    seen = [_judge(p, ridge, core, strip.px_per_mm, gates) for p in paths]
    return [c for c in seen if c is not None]


def _dark_pieces(skeleton: Mask, core: Image, *, gates: Gates, px_per_mm: float) -> Mask:
    """Drop crumbs and pale pieces before they can be linked to a crack."""
    kept = np.zeros_like(skeleton)
    _, label, stats, _ = cv2.connectedComponentsWithStats(skeleton.astype(np.uint8))
    for k in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= 0.25 * px_per_mm)[1:]:
        left, top, width, height = stats[k, :4]
        box = np.s_[top : top + height, left : left + width]
        piece = label[box] == k
        if quantile(core[box][piece], 0.75) >= gates.darkness:
            kept[box] |= piece
    return kept


def _judge(
    paths: Paths, ridge: Ridge, core: Image, px_per_mm: float, gates: Gates
) -> Candidate | None:
    lines = (paths.lines[0], *(b for b in paths.lines[1:] if _is_branch(b, ridge, core, gates)))
    if _is_granular(lines, px_per_mm):
        return None
    evidence = evidence_of(lines, ridge, core, px_per_mm=px_per_mm)
    if evidence.length_mm < gates.shortest_mm or evidence.saliency < gates.saliency:
        return None
    return Candidate(lines=lines, evidence=evidence, chance=fitted_model().chance(evidence))


def _is_branch(line: Points, ridge: Ridge, core: Image, gates: Gates) -> bool:
    """Whether a branch is a line of its own: spurs into the grain answer weakly."""
    at = line.astype(int)
    response = median(ridge.z[at[:, 1], at[:, 0]])
    return response >= gates.z_grow and _core(core, line) >= gates.darkness


def _is_granular(lines: tuple[Points, ...], px_per_mm: float) -> bool:
    """Whether a network is the gaps between crumbs: many lines, about 1 mm apart or less."""
    if len(lines) <= 6:
        return False
    points = np.vstack(lines).astype(np.float32)
    area_mm2 = float(cv2.contourArea(cv2.convexHull(points))) / px_per_mm**2
    return len(points) / px_per_mm > area_mm2


def _without_granular(skeleton: Mask, px_per_mm: float) -> Mask:
    """Drop networks between crumbs before a crack beside them can be linked to them."""
    _, label = cv2.connectedComponents(skeleton.astype(np.uint8), connectivity=8)
    kept = skeleton
    for paths in networks(skeleton, shortest_branch_px=0.8 * px_per_mm):
        if _is_granular(paths.lines, px_per_mm):
            column, row = paths.lines[0][0].astype(int)
            kept = kept & (label != label[row, column])
    return kept


def _core(core: Image, line: Points) -> float:
    at = line.astype(int)
    return quantile(core[at[:, 1], at[:, 0]], 0.75)


def _finding(
    photo: Photo,
    edge: Edge,
    scale: Scale,
    *,
    candidate: Candidate,
    layer: int,
    lines: tuple[Points, ...],
    number: int,
) -> Finding:
    along = candidate.evidence.along_border
    kind: FindingKind = "bond_gap" if along > GAP_ALONG else "crack"
    quantities = measure_lines(photo, lines, scale, edge=edge, kind=kind, origin="auto")
    found = layer_of(lines, edge)
    return Finding(
        id=f"{kind.replace('_', '-')}-{number}",
        kind=kind,
        layer=layer if found is None else found,
        strength=candidate.chance,
        lines_px=lines,
        quantities=quantities,
        origin="auto",
    )
