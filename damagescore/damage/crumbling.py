"""Find crumbled rubber: granular broken relief where rubber is lost."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.areas import measure_area
from damagescore.damage.crumbling_border import place_border
from damagescore.damage.crumbling_chance import chance_of
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


UNDECIDED_WRONG, UNPLACED_WRONG = 0.4, 0.5
"""Shares of what the first outline left undecided and of the spread of the placed border's
odds that come out wrong, as standard deviations: fitted on photos left out of the border's
own fit."""


MOST_TUNED = 19.0
"""Times the odds that a patch has to have at the lowest sensitivity, as for lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CrumblingRule:
    """What counts as crumbling; lengths in mm.

    Parameters
    ----------
    least_odds : float
        Log odds of a core's surroundings, see `seed_score`: so low that shallow patches have
        one, which are no darker than sound rubber.
    least_chance : float
        Chance from which a patch is proposed, see `crumbling_chance`. Of the patches left
        out of its fit 96 % had more. At an even chance it would be 98 %, and false areas
        would be seen on twice as many photos.
    least_stands_out : float
        Texture over that of the rubber right beside (`Outline.stands_out`): what differs
        from other layers only is a tone or a light.
    most_bright : float
        Logarithm of bright over dark texture: more is something that lies on the rubber,
        dust, chalk or lint, however plain the rest is.
    least_core_mm2, least_area_mm2 : float
        Smallest core and patch: about fifteen grains; less is a chip or a speck.
    line_alignment : float
        Coherence of the structure tensor above which a place is on a line.
    join_mm : float
        Pieces nearer than this are one patch.
    """

    least_odds: float = -4.0
    least_chance: float = 0.7
    least_stands_out: float = 3.5
    most_bright: float = 0.43
    least_core_mm2: float = 1.0
    least_area_mm2: float = 1.5
    line_alignment: float = 0.85
    join_mm: float = 1.2


def find_crumbling(
    photo: Photo, edge: Edge, scale: Scale, *, sensitivity: float = 0.5
) -> tuple[Finding, ...]:
    """Propose crumbled areas of the rubber layers.

    Detail between 0.1 and 0.8 mm, darker and brighter, is compared with that of the
    sound rubber of the same photo under the same light. All clues together give a patch's
    chance to be crumbled (`crumbling_chance`): detail that is nearly all bright speaks for
    dust, chalk or lint, nearly all dark or along lines for pits and cracks, shade without
    detail for a stain. See `outline_of` for where the border lies.

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
    """A crumbled patch, the layer it lies in, and the chance that it is one, 0 to 1.

    Before its border is placed the chance is the largest that it may turn out to have.
    """

    outline: Outline
    layer: int
    strength: float


def _tuned(rule: CrumblingRule, sensitivity: float) -> CrumblingRule:
    """Ask for more or less of what a patch needs."""
    step = 1 - 2 * sensitivity  # 1 at the lowest, -1 at the highest
    odds = rule.least_chance / (1 - rule.least_chance) * MOST_TUNED**step
    return replace(
        rule,
        least_chance=odds / (1 + odds),
        least_core_mm2=rule.least_core_mm2 * 2**step,
        least_area_mm2=rule.least_area_mm2 * 2 ** (2 * step),
    )


def _placed_in(
    evidence: Evidence, view: tuple[Photo, Edge, Scale], rule: CrumblingRule
) -> list[Patch]:
    """Patches of one layer that are likely where their border is placed."""
    kept = []
    for patch in patches_in(evidence, rule):
        placed = _placed(patch, evidence, view)
        if not _is_crumbled(placed, rule):
            smaller = plainest_of(patch, evidence, rule)
            placed = placed if smaller is None else _placed(smaller, evidence, view)
        if _is_crumbled(placed, rule):
            kept.append(placed)
    return kept


def _is_crumbled(placed: Patch, rule: CrumblingRule) -> bool:
    return (
        placed.strength >= rule.least_chance
        and placed.outline.stands_out >= rule.least_stands_out
        and placed.outline.area_mm2 >= rule.least_area_mm2
        and placed.outline.usual[CLUES.index("bright over dark")] <= rule.most_bright
    )


def _placed(patch: Patch, evidence: Evidence, view: tuple[Photo, Edge, Scale]) -> Patch:
    closeup = closeup_of(*view, evidence=evidence, outline=patch.outline)
    outline = place_border(closeup, patch.outline)
    return replace(patch, outline=outline, strength=chance_of(evidence, outline))


def plainest_of(patch: Patch, evidence: Evidence, rule: CrumblingRule) -> Patch | None:
    """The patch grown anew from its plainest tenth: a tone may have been taken along."""
    strip, score = evidence.strip, seed_score(evidence)
    within = np.zeros(score.shape, np.uint8)
    fill_outline(within, strip.from_photo(patch.outline.polygon_px), 1)
    held = within > 0
    return _patch_around(held & (score >= np.quantile(score[held], 0.9)), evidence, rule)


def patches_in(evidence: Evidence, rule: CrumblingRule) -> list[Patch]:
    """Patches of one layer, as first outlined, that may turn out likely enough."""
    strip = evidence.strip
    score = seed_score(evidence)
    cores = (score > rule.least_odds) & (strip.inside > 0.5)
    least_px = rule.least_core_mm2 * strip.px_per_mm**2
    if cores.sum() < least_px:
        return []
    # A crack that runs into a patch would make lines of the whole.
    cores &= alignment(strip, darkness(strip, evidence.level)) < rule.line_alignment
    labels, count = _joined(cores, reach_px=rule.join_mm / 2 * strip.px_per_mm)
    pieces = (cores & (labels == label) for label in range(1, count + 1))
    # The better half of a core is surely patch, if it is one at all.
    halves = (x & (score >= np.median(score[x])) for x in pieces if x.sum() >= least_px)
    found = (_likely_around(half, evidence, rule) for half in halves)
    return [patch for patch in found if patch is not None]


def _likely_around(core: Mask, evidence: Evidence, rule: CrumblingRule) -> Patch | None:
    """The patch around a core, or around its plainest part; None where neither is likely."""
    patch = _patch_around(core, evidence, rule)
    if patch is not None and patch.strength < rule.least_chance:
        patch = plainest_of(patch, evidence, rule)
    return patch if patch is not None and patch.strength >= rule.least_chance else None


def _patch_around(core: Mask, evidence: Evidence, rule: CrumblingRule) -> Patch | None:
    outline = outline_of(evidence, core, join_mm=rule.join_mm)
    if outline is None or outline.area_mm2 < rule.least_area_mm2:
        return None
    chance = chance_of(evidence, outline)
    return Patch(outline=outline, layer=evidence.strip.layer.index, strength=chance)


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
