"""Find crumbled rubber: granular broken relief where rubber is lost."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.areas import measure_area
from damagescore.damage.crumbling_border import place_border
from damagescore.damage.crumbling_closeup import closeup_of
from damagescore.damage.crumbling_evidence import CLUES, Evidence, evidence_of, seed_score
from damagescore.damage.crumbling_outline import Outline, outline_of
from damagescore.damage.crumbling_strip import Mask, cut_strip, disc
from damagescore.damage.crumbling_texture import alignment, darkness
from damagescore.damage.crumbling_unseen import unseen_parts
from damagescore.damage.out_of_focus import blurred_parts
from damagescore.damage.record import Finding
from damagescore.damage.unjudged import Unjudged
from damagescore.edge.record import Edge
from damagescore.photo.outline import fill_outline
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale
from damagescore.side_by_side import side_by_side

Points = NDArray[np.float64]


SHADE_GAIN = 20.0
"""A patch 0.05 log units below sound rubber is as plain as one of 2.7 times its texture."""


UNDECIDED_WRONG, UNPLACED_WRONG = 0.4, 0.5
"""Shares of what the first outline left undecided and of the spread of the placed border's
odds that come out wrong, as standard deviations: fitted on photos left out of the border's
own fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CrumblingRule:
    """What counts as crumbling; lengths in mm.

    Parameters
    ----------
    least_odds : float
        Log odds of a core's surroundings; see `seed_score`.
    least_core_mm2, least_area_mm2 : float
        Smallest core and patch: about fifteen grains; less is a chip or a speck.
    least_texture : float
        Logarithm of a patch's texture over that of sound rubber.
    line_alignment : float
        Coherence of the structure tensor above which a place is on a line.
    most_aligned : float
        Coherence of the structure tensor above which a patch is lines, not grains.
    least_quiet : float
        Loss of texture, as a logarithm, by asking for it on one side at least in
        every direction: a wide dark crack loses more.
    bright_over_dark : tuple of float
        Logarithm of bright over dark texture: less is pits and cracks, more is
        something that lies on the rubber: dust, chalk, lint.
    least_lost_light : float
        Logarithm of dark texture over that of sound rubber, plus `SHADE_GAIN` times
        the shade: wrinkled or dusty rubber in glare is rough and no darker.
    least_stands_out : float
        Texture over that of the rubber right beside (`Outline.stands_out`): what differs
        from other layers only is a tone or a light.
    faint_stands_out : float
        The same for a patch that is left undecided by up to `more_undecided` more.
    most_undecided : float
        Share of a faint patch that may as well not be one; see `_most_undecided`.
    more_undecided : float
        What is added to that where the patch stands out from the rubber right beside it.
    join_mm : float
        Pieces nearer than this are one patch.
    """

    least_odds: float = -2.5
    least_core_mm2: float = 1.0
    least_area_mm2: float = 1.5
    least_texture: float = 1.1
    line_alignment: float = 0.85
    most_aligned: float = 0.55
    least_quiet: float = -0.45
    bright_over_dark: tuple[float, float] = (-2.6, 0.43)
    least_lost_light: float = 2.25
    least_stands_out: float = 5.0
    faint_stands_out: float = 6.5
    most_undecided: float = 0.285
    more_undecided: float = 0.15
    join_mm: float = 1.2


def find_crumbling(
    photo: Photo, edge: Edge, scale: Scale, *, sensitivity: float = 0.5
) -> tuple[Finding, ...]:
    """Propose crumbled areas of the rubber layers.

    Detail between 0.1 and 0.8 mm, darker and brighter, is compared with that of the
    sound rubber of the same photo under the same light. Patches whose detail is nearly
    all bright (dust, chalk, lint), all dark (pits), no darker than sound rubber (wrinkles
    in glare) or lines (cracks, scratches) are left out. See `outline_of` for where the
    border lies.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    scale : Scale
    sensitivity : float
        0 (only the plainest) to 1 (everything suspicious).

    Returns
    -------
    tuple of Finding
        Kind "crumbling", one for each patch, with outline and the quantities of
        `measure_area`. Known bias: lost rubber without granular relief (a clean
        break), relief that a glare or a raking light shows only by its bright side, and
        patches in deep shadow are not found.
    """
    return search_crumbling(photo, edge, scale, sensitivity=sensitivity)[0]


def search_crumbling(
    photo: Photo, edge: Edge, scale: Scale, *, sensitivity: float = 0.5
) -> tuple[tuple[Finding, ...], tuple[Unjudged, ...]]:
    """What `find_crumbling` gives, and where crumbling would not have been seen.

    A finding's share of its layer is that of what could be judged of the layer.
    """
    cut = side_by_side(lambda x: cut_strip(photo, edge, layer=x, scale=scale), edge.rubber)
    strips = tuple(strip for strip in cut if strip is not None)
    rule = _tuned(CrumblingRule(), sensitivity)
    evidences = evidence_of(strips, edge.shape) if strips else ()
    seen = side_by_side(lambda e: _placed_in(e, (photo, edge, scale), rule), evidences)
    patches = [patch for of_layer in seen for patch in of_layer]
    outlines = [p.outline.polygon_px for p in patches]
    unjudged = unseen_parts(
        evidences, edge, scale, found_px=outlines, blurred_px=blurred_parts(photo, edge, scale)
    )
    findings = (
        _finding(number, patch, scale, edge=edge, unjudged=unjudged)
        for number, patch in enumerate(patches, start=1)
    )
    return tuple(findings), unjudged


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A crumbled patch as first outlined, the layer it lies in, and how plain it is, 0 to 1."""

    outline: Outline
    layer: int
    strength: float


def _tuned(rule: CrumblingRule, sensitivity: float) -> CrumblingRule:
    """Ask for more or less of what a patch needs; what makes it a line or dust stays."""
    step = 1 - 2 * sensitivity  # 1 at the lowest, -1 at the highest
    return CrumblingRule(
        least_odds=rule.least_odds + step,
        least_core_mm2=rule.least_core_mm2 * 2**step,
        least_area_mm2=rule.least_area_mm2 * 2 ** (2 * step),
        least_texture=rule.least_texture * 1.4**step,
        least_lost_light=rule.least_lost_light * 2.2**step,
    )


def _placed_in(
    evidence: Evidence, view: tuple[Photo, Edge, Scale], rule: CrumblingRule
) -> list[Patch]:
    """Patches of one layer that stand out from the rubber right beside them, placed there."""
    kept = []
    for patch in patches_in(evidence, rule):
        placed = _placed(patch, evidence, view)
        if not _stands_out(placed.outline, rule):
            smaller = _core_of(patch, evidence, rule)
            placed = placed if smaller is None else _placed(smaller, evidence, view)
        if _stands_out(placed.outline, rule):
            kept.append(placed)
    return kept


def _placed(patch: Patch, evidence: Evidence, view: tuple[Photo, Edge, Scale]) -> Patch:
    closeup = closeup_of(*view, evidence=evidence, outline=patch.outline)
    return replace(patch, outline=place_border(closeup, patch.outline))


def _core_of(patch: Patch, evidence: Evidence, rule: CrumblingRule) -> Patch | None:
    """The patch grown anew from its plainest tenth: a tone may have been taken along."""
    strip, score = evidence.strip, seed_score(evidence)
    within = np.zeros(score.shape, np.uint8)
    fill_outline(within, strip.from_photo(patch.outline.polygon_px), 1)
    held = within > 0
    core = held & (score >= np.quantile(score[held], 0.9))
    outline = outline_of(evidence, core, join_mm=rule.join_mm)
    if outline is None or not _is_crumbled(outline, rule):
        return None
    return replace(patch, outline=outline)


def patches_in(evidence: Evidence, rule: CrumblingRule) -> list[Patch]:
    """Patches of one layer, as first outlined."""
    strip = evidence.strip
    score = seed_score(evidence)
    cores = (score > rule.least_odds) & (strip.inside > 0.5)
    if cores.sum() < rule.least_core_mm2 * strip.px_per_mm**2:
        return []
    # A crack that runs into a patch would make lines of the whole.
    cores &= alignment(strip, darkness(strip, evidence.level)) < rule.line_alignment
    labels, count = _joined(cores, reach_px=rule.join_mm / 2 * strip.px_per_mm)
    kept: list[Patch] = []
    for label in range(1, count + 1):
        core = cores & (labels == label)
        if core.sum() < rule.least_core_mm2 * strip.px_per_mm**2:
            continue
        # The better half of a core is surely patch, if it is one at all.
        core &= score >= np.median(score[core])
        outline = outline_of(evidence, core, join_mm=rule.join_mm)
        if outline is not None and _is_crumbled(outline, rule):
            strength = _strength(float(np.median(score[core])), outline)
            kept.append(Patch(outline=outline, layer=strip.layer.index, strength=strength))
    return kept


def _is_crumbled(outline: Outline, rule: CrumblingRule) -> bool:
    facts = dict(zip(CLUES, outline.usual, strict=True))
    least, most = rule.bright_over_dark
    return bool(
        outline.area_mm2 >= rule.least_area_mm2
        and outline.undecided <= _most_undecided(outline, rule) + rule.more_undecided
        and facts["even 1.0"] >= rule.least_texture
        and facts["dark even 1.0"] + SHADE_GAIN * facts["darker"] >= rule.least_lost_light
        and facts["aligned"] <= rule.most_aligned
        and facts["quiet side"] >= rule.least_quiet
        and least <= facts["bright over dark"] <= most
    )


def _most_undecided(outline: Outline, rule: CrumblingRule) -> float:
    """Noise blurs the border of a plain patch too; a faint one must have a border."""
    plain = max(float(outline.usual[CLUES.index("even 1.0")]) - rule.least_texture, 0.0)
    return min(rule.most_undecided + 0.12 * plain, 0.5)


def _stands_out(outline: Outline, rule: CrumblingRule) -> bool:
    """Whether a placed patch differs enough from the rubber right beside it."""
    faint = outline.undecided > _most_undecided(outline, rule)
    return outline.stands_out >= (rule.faint_stands_out if faint else rule.least_stands_out)


def _strength(odds: float, outline: Outline) -> float:
    """0 to 1 whatever the sensitivity: a half for 2 mm2 whose core barely shows."""
    evidence = odds + 1.5 + 0.5 * math.log(outline.area_mm2 / 2)
    return 1 / (1 + math.exp(-evidence))


def _joined(cores: Mask, *, reach_px: float) -> tuple[NDArray[np.int32], int]:
    """Label pieces; those nearer than twice the reach get one label."""
    grown = cv2.dilate(cores.astype(np.uint8), disc(reach_px))
    count, labels = cv2.connectedComponents(grown, connectivity=8)
    return np.asarray(labels, dtype=np.int32), count - 1


def _wrong(outline: Outline) -> float:
    """Standard uncertainty of a patch's area from too little contrast, as a share of it."""
    return math.hypot(UNDECIDED_WRONG * outline.undecided, UNPLACED_WRONG * outline.unplaced)


def _finding(
    number: int, patch: Patch, scale: Scale, *, edge: Edge, unjudged: tuple[Unjudged, ...]
) -> Finding:
    return Finding(
        id=f"crumbling-{number}",
        kind="crumbling",
        layer=patch.layer,
        strength=patch.strength,
        polygon_px=patch.outline.polygon_px,
        quantities=measure_area(
            patch.outline.polygon_px,
            scale,
            edge=edge,
            u_unseen=_wrong(patch.outline),
            unjudged=unjudged,
        ),
    )
