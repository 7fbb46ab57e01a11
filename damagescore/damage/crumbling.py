"""Find crumbled rubber: granular broken relief where rubber is lost."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.areas import measure_area
from damagescore.damage.crumbling_evidence import CLUES, Evidence, evidence_of, seed_score
from damagescore.damage.crumbling_outline import Outline, outline_of
from damagescore.damage.crumbling_strip import Mask, cut_strip, disc
from damagescore.damage.crumbling_texture import alignment, darkness
from damagescore.damage.crumbling_unseen import unseen_parts
from damagescore.damage.record import Finding
from damagescore.damage.unjudged import Unjudged
from damagescore.edge.record import Edge
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale
from damagescore.side_by_side import side_by_side

Points = NDArray[np.float64]


SHADE_GAIN = 20.0
"""A patch 0.05 log units below sound rubber is as plain as one of 2.7 times its texture."""


UNDECIDED_WRONG = 0.3
"""Share of a patch's undecided border that comes out wrong, as a standard deviation: with
it 95 % intervals held 96 % of the development areas and of those not tuned on."""


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
    most_undecided : float
        Share of a faint patch that may as well not be one; see `_most_undecided`.
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
    most_undecided: float = 0.285
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
    seen = side_by_side(lambda e: _patches(e, rule), evidences)
    patches = [patch for of_layer in seen for patch in of_layer]
    outlines = [p.outline.polygon_px for p in patches]
    unjudged = unseen_parts(evidences, edge, scale, found_px=outlines)
    findings = (
        _finding(number, patch, scale, edge=edge, unjudged=unjudged)
        for number, patch in enumerate(patches, start=1)
    )
    return tuple(findings), unjudged


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
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


def _patches(evidence: Evidence, rule: CrumblingRule) -> list[_Patch]:
    strip = evidence.strip
    score = seed_score(evidence)
    cores = (score > rule.least_odds) & (strip.inside > 0.5)
    if cores.sum() < rule.least_core_mm2 * strip.px_per_mm**2:
        return []
    # A crack that runs into a patch would make lines of the whole.
    cores &= alignment(strip, darkness(strip, evidence.level)) < rule.line_alignment
    labels, count = _joined(cores, reach_px=rule.join_mm / 2 * strip.px_per_mm)
    kept: list[_Patch] = []
    for label in range(1, count + 1):
        core = cores & (labels == label)
        if core.sum() < rule.least_core_mm2 * strip.px_per_mm**2:
            continue
        # The better half of a core is surely patch, if it is one at all.
        core &= score >= np.median(score[core])
        outline = outline_of(evidence, core, join_mm=rule.join_mm)
        if outline is not None and _is_crumbled(outline, rule):
            strength = _strength(float(np.median(score[core])), outline)
            kept.append(_Patch(outline=outline, layer=strip.layer.index, strength=strength))
    return kept


def _is_crumbled(outline: Outline, rule: CrumblingRule) -> bool:
    facts = dict(zip(CLUES, outline.usual, strict=True))
    least, most = rule.bright_over_dark
    return bool(
        outline.area_mm2 >= rule.least_area_mm2
        and outline.undecided <= _most_undecided(facts["even 1.0"], rule)
        and facts["even 1.0"] >= rule.least_texture
        and facts["dark even 1.0"] + SHADE_GAIN * facts["darker"] >= rule.least_lost_light
        and facts["aligned"] <= rule.most_aligned
        and facts["quiet side"] >= rule.least_quiet
        and least <= facts["bright over dark"] <= most
    )


def _most_undecided(texture: float, rule: CrumblingRule) -> float:
    """Noise blurs the border of a plain patch too; a faint one must have a border."""
    plain = max(texture - rule.least_texture, 0.0)
    return min(rule.most_undecided + 0.12 * plain, 0.5)


def _strength(odds: float, outline: Outline) -> float:
    """0 to 1 whatever the sensitivity: a half for 2 mm2 whose core barely shows."""
    evidence = odds + 1.5 + 0.5 * math.log(outline.area_mm2 / 2)
    return 1 / (1 + math.exp(-evidence))


def _joined(cores: Mask, *, reach_px: float) -> tuple[NDArray[np.int32], int]:
    """Label pieces; those nearer than twice the reach get one label."""
    grown = cv2.dilate(cores.astype(np.uint8), disc(reach_px))
    count, labels = cv2.connectedComponents(grown, connectivity=8)
    return np.asarray(labels, dtype=np.int32), count - 1


def _finding(
    number: int, patch: _Patch, scale: Scale, *, edge: Edge, unjudged: tuple[Unjudged, ...]
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
            u_unseen=UNDECIDED_WRONG * patch.outline.undecided,
            unjudged=unjudged,
        ),
    )
