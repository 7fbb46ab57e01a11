"""Automatic proposals of cracks and bond gaps."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from damagescore.damage.centreline import centre, resample, smooth
from damagescore.damage.fork import joined_to, leave_stroke
from damagescore.damage.lines import layer_of, measure_lines
from damagescore.damage.network import Paths, link, networks, thin
from damagescore.damage.record import Finding, FindingKind
from damagescore.damage.ridge import Ridge, ridge_of
from damagescore.damage.strip import Strip, blurred, strips_of
from damagescore.damage.tips import with_true_ends
from damagescore.edge.record import Edge
from damagescore.errors import UsageError
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

BOND_REACH_MM = 0.35
"""A line that keeps this near to its layer's border is a bond gap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gates:
    """Thresholds that follow from the one sensitivity control.

    Parameters
    ----------
    z_seed, z_grow : float
        Filter response, in robust spreads, that starts a line and that carries it on.
    dark_grow : float
        Relative darkness below which no line is carried on.
    dark_core : float
        Relative darkness that a quarter of a line must reach.
    dark_plain : float
        The same for lines that mould or shims may have drawn: straight ones along
        the layers, and those on a border.
    clear, clear_plain : float
        Least clarity of a line (`Candidate.clarity`), and of one of that sort.
    saliency : float
        Least sum of (z - 2.5) along a line, per sample of 1/25 mm: long and weak
        counts as short and strong.
    shortest_mm, shortest_plain_mm : float
        Least length of a proposal, and of one that mould or shims may have drawn.
    """

    z_seed: float
    z_grow: float
    dark_grow: float
    dark_core: float
    dark_plain: float
    clear: float
    clear_plain: float
    saliency: float
    shortest_mm: float
    shortest_plain_mm: float

    @classmethod
    def at(cls, sensitivity: float) -> "Gates":
        """Gates for a sensitivity from 0 (only the plainest) to 1 (all that is suspicious)."""
        s = sensitivity
        return cls(
            z_seed=8.5 - 4 * s,
            z_grow=4.8 - 1.2 * s,
            dark_grow=0.28 - 0.16 * s,
            dark_core=0.5 - 0.4 * s,
            dark_plain=0.75 - 0.4 * s,
            clear=0.95 - 0.5 * s,
            clear_plain=1.2 - 0.6 * s,
            saliency=220 * 0.12**s,
            shortest_mm=1.2 - 0.8 * s,
            shortest_plain_mm=3.0 - 2.0 * s,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A line network of one strip with what speaks for it.

    `lines` are in strip samples; `core` is the relative darkness that a quarter
    of it reaches; `straight` says that it runs along the layer like a mould line.
    """

    lines: tuple[Points, ...]
    core: float
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
            lines = _photo_lines(photo, edge, strip, candidate=candidate, scale=scale)
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
    mask = _hysteresis(ridge.z, gates.z_grow, gates.z_seed)
    mask &= (core > gates.dark_grow) & strip.judged
    mask &= ~_mould_lines(ridge, core, strip.px_per_mm)
    mask = _solid(mask, strip.px_per_mm)
    skeleton = _dark_pieces(thin(mask), core, gates, strip.px_per_mm)
    skeleton = _without_granular(skeleton, strip.px_per_mm)
    joined = link(skeleton, ridge.z, reach_px=1.5 * strip.px_per_mm, least=2.0)
    paths = networks(joined, shortest_branch_px=0.8 * strip.px_per_mm)
    seen = [_judge(p, ridge, core, strip.px_per_mm, gates) for p in paths]
    return [c for c in seen if c is not None]


def _hysteresis(image: Image, low: float, high: float) -> Mask:
    """Places above `low` that hang together with one above `high`."""
    _, label = cv2.connectedComponents((image > low).astype(np.uint8), connectivity=8)
    seeded = np.unique(label[image > high])
    return np.asarray(np.isin(label, seeded[seeded > 0]))


def _solid(mask: Mask, px_per_mm: float) -> Mask:
    """Fill pinholes: a stroke with one would thin to two strands."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(
        (~mask).astype(np.uint8), connectivity=4
    )
    hole = stats[:, cv2.CC_STAT_AREA] < (0.15 * px_per_mm) ** 2
    hole[0] = False
    return np.asarray(mask | hole[label])


def _dark_pieces(skeleton: Mask, core: Image, gates: Gates, px_per_mm: float) -> Mask:
    """Drop crumbs and pale pieces before they can be linked to a crack."""
    kept = np.zeros_like(skeleton)
    _, label, stats, _ = cv2.connectedComponentsWithStats(skeleton.astype(np.uint8))
    rows = len(skeleton)
    border = BOND_REACH_MM * px_per_mm / 2
    for k in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= 0.25 * px_per_mm)[1:]:
        left, top, width, height = stats[k, :4]
        box = np.s_[top : top + height, left : left + width]
        piece = label[box] == k
        on_border = top + height < border or top > rows - border
        least = gates.dark_plain if on_border else gates.dark_core
        if np.quantile(core[box][piece], 0.75) >= 0.8 * least:
            kept[box] |= piece
    return kept


def _mould_lines(ridge: Ridge, core: Image, px_per_mm: float) -> Mask:
    """Where a weak straight line runs along most of the layer: mould flash.

    A row counts when at least three tenths of its length are darker than both
    sides once averaged over 2 mm along.
    """
    along = uniform_filter1d(ridge.dark, max(3, round(2 * px_per_mm)), axis=1)
    step = max(2, round(0.2 * px_per_mm))
    above, below = np.roll(along, step, axis=0), np.roll(along, -step, axis=0)
    stands_out = (along - np.maximum(above, below)) > max(0.04, 0.6 * ridge.noise)
    # What is as dark as a crack, and its flanks, are neither counted nor taken away.
    reach = 2 * max(1, round(0.2 * px_per_mm)) + 1
    deep = cv2.dilate((core > 0.6).astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
    share = (stands_out & ~deep).mean(axis=1)
    drawn = uniform_filter1d((share > 0.3).astype(float), 3) > 0
    drawn[:step] = drawn[-step:] = False
    return np.asarray(drawn[:, None] & ~deep)


def _judge(
    paths: Paths, ridge: Ridge, core: Image, px_per_mm: float, gates: Gates
) -> Candidate | None:
    lines = (
        paths.lines[0],
        *(b for b in paths.lines[1:] if _core(core, b) >= 0.7 * gates.dark_core),
    )
    at = np.vstack(lines).astype(int)
    z = ridge.z[at[:, 1], at[:, 0]]
    rows = ridge.dark.shape[0]
    from_border = np.minimum(at[:, 1], rows - 1 - at[:, 1]) / px_per_mm
    if _is_granular(lines, px_per_mm):
        return None
    candidate = Candidate(
        lines=lines,
        core=_core(core, np.vstack(lines)),
        z=float(np.median(z)),
        saliency=float(np.sum(z - 2.5)) * 25 / px_per_mm,
        length_mm=len(at) / px_per_mm,
        border_share=float(np.mean(from_border < BOND_REACH_MM)),
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
    return (
        candidate.core >= (gates.dark_plain if suspect else gates.dark_core)
        and candidate.clarity >= (gates.clear_plain if suspect else gates.clear)
        and candidate.length_mm >= (gates.shortest_plain_mm if suspect else gates.shortest_mm)
        and candidate.saliency >= gates.saliency
    )


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


def _photo_lines(
    photo: Photo, edge: Edge, strip: Strip, *, candidate: Candidate, scale: Scale
) -> tuple[Points, ...]:
    """Centre lines in the photo, ends where the dark stroke ends."""
    made: list[Points] = []
    for line in candidate.lines:
        step = max(1.0, 0.04 / scale.mm_per_px)
        rough = smooth(resample(strip.to_photo(line), step_px=step), spread=2.0)
        if made:
            rough = leave_stroke(rough, made[0], reach_px=0.3 / scale.mm_per_px)
        if len(rough) < 4:
            continue
        fine = centre(photo.grey, rough, reach_px=max(3.0, 0.2 / scale.mm_per_px))
        ended = with_true_ends(photo.grey, fine, scale, inside=edge.judged, start=not made)
        made.append(
            joined_to(ended, made[0], reach_px=1.5 / scale.mm_per_px) if made else ended
        )
    return tuple(made)


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
