"""Automatic proposals of cracks and bond gaps."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.fork import photo_lines
from damagescore.damage.gates import Gates
from damagescore.damage.line_mask import line_mask
from damagescore.damage.lines import layer_of, measure_lines
from damagescore.damage.network import Paths, link, networks, thin
from damagescore.damage.record import Finding, FindingKind
from damagescore.damage.ridge import Ridge, ridge_of
from damagescore.damage.strip import Strip, blurred, strips_of
from damagescore.edge.record import Edge
from damagescore.errors import UsageError
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

BOND_REACH_MM = 0.35
"""A line that keeps this near to its layer's border is a bond gap."""


RELIEF, RELIEF_BORDER = 0.55, 0.72
"""Shares of the usual darkness that are enough where a line is long and sharp."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A line network of one strip with what speaks for it.

    `lines` are in strip samples; `core` is the relative darkness that a quarter
    of it reaches; `stands_out` is the share of its darkness by which it is darker
    than both its sides; `straight` says that it runs along the layer like a mould
    line.
    """

    lines: tuple[Points, ...]
    core: float
    stands_out: float
    z: float
    saliency: float
    length_mm: float
    border_share: float
    straight: bool

    @property
    def suspect(self) -> bool:
        """Whether a mould or a shim may have drawn it."""
        return self.straight or self.border_share > 0.5

    @property
    def clarity(self) -> float:
        """Darkness and filter response together: a pale line must be a sharp one."""
        return self.core + 0.03 * self.z


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
        0 (only the plainest lines) to 1 (everything suspicious).
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
    Known bias: a tip that tapers below about 0.05 mm fades into the rubber's own
    grain and is not seen, so lengths come out up to a few percent short.
    """
    if not 0.0 <= sensitivity <= 1.0:
        raise UsageError(
            f"The sensitivity is {sensitivity}, outside 0 to 1.",
            remedy="Give a number from 0 (fewest proposals) to 1 (most).",
        )
    gates = Gates.at(sensitivity)
    found = []
    for strip in strips_of(photo, edge, scale, exclude=_widened(exclude, scale)):
        for candidate in _candidates(strip, gates):
            lines = photo_lines(photo, edge, strip, lines=candidate.lines, scale=scale)
            found.append((candidate, strip.layer, lines))
    found.sort(key=lambda f: -f[0].length_mm)
    return tuple(
        _finding(photo, edge, scale, candidate=c, layer=layer, lines=lines, number=i + 1)
        for i, (c, layer, lines) in enumerate(found)
    )


def _widened(exclude: Mask | None, scale: Scale) -> Mask | None:
    """Loosened rubber reaches a little beyond the outline that was drawn round it."""
    if exclude is None or not exclude.any():
        return None
    reach = 2 * round(0.3 / scale.mm_per_px) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    return np.asarray(cv2.dilate(exclude.astype(np.uint8), kernel), bool)


def _candidates(strip: Strip, gates: Gates) -> list[Candidate]:
    if not strip.judged.any():
        return []
    ridge = ridge_of(strip)
    core = blurred(ridge.dark, 0.025 * strip.px_per_mm)
    mask = line_mask(ridge, core, strip.judged, gates=gates, px_per_mm=strip.px_per_mm)
    skeleton = _dark_pieces(thin(mask), core, ridge.z, gates=gates, px_per_mm=strip.px_per_mm)
    skeleton = _without_granular(skeleton, strip.px_per_mm)
    joined = link(skeleton, ridge.z, reach_px=1.5 * strip.px_per_mm, least=2.0)
    paths = networks(joined, shortest_branch_px=0.55 * strip.px_per_mm)
    seen = [_judge(p, ridge, core, strip.px_per_mm, gates) for p in paths]
    return [c for c in seen if c is not None]


def _dark_pieces(
    skeleton: Mask, core: Image, z: Image, *, gates: Gates, px_per_mm: float
) -> Mask:
    """Drop crumbs and pale pieces before they can be linked to a crack."""
    kept = np.zeros_like(skeleton)
    _, label, stats, _ = cv2.connectedComponentsWithStats(skeleton.astype(np.uint8))
    rows = len(skeleton)
    border = _bond_reach_mm(rows, px_per_mm) * px_per_mm / 2
    for k in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= 0.25 * px_per_mm)[1:]:
        left, top, width, height = stats[k, :4]
        box = np.s_[top : top + height, left : left + width]
        piece = label[box] == k
        on_border = top + height < border or top > rows - border
        least = gates.dark_plain if on_border else gates.dark_core
        sharp = gates.z_seed * (0.6 if piece.sum() > 1.2 * px_per_mm else 1.0)
        least *= RELIEF if np.median(z[box][piece]) > sharp else 1.0
        if np.quantile(core[box][piece], 0.75) >= 0.8 * least:
            kept[box] |= piece
    return kept


def _bond_reach_mm(rows: int, px_per_mm: float) -> float:
    """In a thin layer not everything lies on a border."""
    return min(BOND_REACH_MM, 0.2 * rows / px_per_mm)


def _judge(
    paths: Paths, ridge: Ridge, core: Image, px_per_mm: float, gates: Gates
) -> Candidate | None:
    lines = (
        paths.lines[0],
        *(b for b in paths.lines[1:] if _core(core, b) >= RELIEF * gates.dark_core),
    )
    at = np.vstack(lines).astype(int)
    z, contrast, depth = (x[at[:, 1], at[:, 0]] for x in (ridge.z, ridge.contrast, core))
    rows = ridge.dark.shape[0]
    from_border = np.minimum(at[:, 1], rows - 1 - at[:, 1]) / px_per_mm
    if _is_granular(lines, px_per_mm):
        return None
    candidate = Candidate(
        lines=lines,
        core=_core(core, np.vstack(lines)),
        stands_out=float(np.median(contrast) / max(np.median(depth), 1e-3)),
        z=float(np.median(z)),
        saliency=float(np.sum(z - 2.5)) * 25 / px_per_mm,
        length_mm=len(at) / px_per_mm,
        border_share=float(np.mean(from_border < _bond_reach_mm(rows, px_per_mm))),
        straight=_runs_along(lines[0], px_per_mm),
    )
    return candidate if _passes(candidate, gates) else None


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


def _passes(candidate: Candidate, gates: Gates) -> bool:
    suspect = candidate.suspect
    relief = _relief(candidate, gates)
    return (
        candidate.core >= relief * (gates.dark_plain if suspect else gates.dark_core)
        and candidate.clarity >= relief * (gates.clear_plain if suspect else gates.clear)
        and candidate.length_mm >= (gates.shortest_plain_mm if suspect else gates.shortest_mm)
        and candidate.saliency >= gates.saliency
    )


def _relief(candidate: Candidate, gates: Gates) -> float:
    """A long and sharp line may be paler, unless a mould or a shadow drew it."""
    if candidate.stands_out < 0.4:
        return 1.0
    on_border = candidate.border_share > 0.5
    if candidate.saliency < 8 * gates.saliency or candidate.z < 0.9 * gates.z_seed:
        return 1.0
    if on_border:
        return RELIEF_BORDER
    return 1.0 if candidate.straight else RELIEF


def _core(core: Image, line: Points) -> float:
    at = line.astype(int)
    return float(np.quantile(core[at[:, 1], at[:, 0]], 0.75))


def _runs_along(line: Points, px_per_mm: float) -> bool:
    """Straight within 0.05 mm and within 2 degrees of the layer."""
    columns, rows = line.T
    if abs(columns[-1] - columns[0]) < 4 * abs(rows[-1] - rows[0]) or len(line) < 5:
        return False
    slope, level = np.polyfit(columns, rows, 1)
    spread = float(np.std(rows - (slope * columns + level))) / px_per_mm
    return spread < 0.05 and abs(slope) < math.tan(math.radians(2))


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
    kind: FindingKind = "bond_gap" if candidate.border_share > 0.5 else "crack"
    quantities = measure_lines(photo, lines, scale, edge=edge, kind=kind, origin="auto")
    found = layer_of(lines, edge)
    return Finding(
        id=f"{kind.replace('_', '-')}-{number}",
        kind=kind,
        layer=layer if found is None else found,
        strength=_strength(candidate),
        lines_px=lines,
        quantities=quantities,
        origin="auto",
    )


def _strength(candidate: Candidate) -> float:
    """Logistic in clarity and saliency; 0.5 where the line is just doubtful.

    Never above 0.99: what the photo shows is not certain to be a crack.
    """
    evidence = 4 * (candidate.clarity - (0.9 if candidate.suspect else 0.7))
    evidence += 0.5 * math.log(max(candidate.saliency, 1.0) / 150)
    return min(0.99, 1 / (1 + math.exp(-evidence)))
