"""Find crumbled rubber: granular broken relief where rubber is lost."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.areas import measure_area
from damagescore.damage.crumbling_outline import outline_of
from damagescore.damage.crumbling_texture import (
    Image,
    Mask,
    Strip,
    blur,
    cut_strip,
    darkness,
    disc,
    light_on,
    texture,
    without_lines,
)
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrumblingRule:
    """What counts as crumbling; lengths in mm, contrasts in log units.

    Parameters
    ----------
    least_contrast : float
        Texture of a patch's core. Broken relief showed 0.11 and more on the
        development scenes, sound rubber with dust and scratches below 0.05.
    over_sound : float
        Texture of a core over the median texture of all rubber in the photo, so
        that noisy or dusty photos need more.
    least_area_mm2 : float
        Smallest core: about fifteen grains; less is a chip or a speck.
    least_gap : float
        Darkness below sound rubber that a tenth of a core must reach: gaps between
        grains are deep (0.56 and more on the development scenes); stains are even.
    least_side_share : float
        Texture on the quieter side over that of the place itself: a wide dark crack
        still shows a little to both sides.
    line_alignment : float
        Coherence of the structure tensor above which a place is on a line.
    most_aligned : float
        Coherence of the structure tensor above which a core is lines, not grains.
    join_mm : float
        Pieces nearer than this are one patch.
    """

    least_contrast: float = 0.07
    over_sound: float = 2.6
    least_area_mm2: float = 1.5
    least_gap: float = 0.25
    least_side_share: float = 0.4
    line_alignment: float = 0.85
    most_aligned: float = 0.6
    join_mm: float = 1.2


def find_crumbling(
    photo: Photo, edge: Edge, scale: Scale, *, sensitivity: float = 0.5
) -> tuple[Finding, ...]:
    """Propose crumbled areas of the rubber layers.

    The texture of dark detail between 0.1 and 0.8 mm is compared with the sound
    rubber of the same photo. Bright marks (dust, chalk, lint) are taken as sound,
    and lines (cracks, scratches, shadows) are removed by asking for texture on one
    side at least in every direction. See `outline_of` for where the border lies.

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
        break) is not found.
    """
    cut = (cut_strip(photo, edge, layer=layer, scale=scale) for layer in edge.rubber)
    strips = tuple(strip for strip in cut if strip is not None)
    if not strips:
        return ()
    lights = light_on(strips, edge.shape)
    darks = [darkness(s, light) for s, light in zip(strips, lights, strict=True)]
    found = [texture(s, dark) for s, dark in zip(strips, darks, strict=True)]
    sound = _sound_level(strips, found)
    rule = _tuned(CrumblingRule(), sensitivity)
    patches = [
        patch
        for strip, dark, map_ in zip(strips, darks, found, strict=True)
        for patch in _patches(strip, dark, map_, sound=sound, rule=rule)
    ]
    return tuple(
        _finding(number, patch, scale, edge=edge)
        for number, patch in enumerate(patches, start=1)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    polygon_px: Points
    layer: int
    strength: float


def _tuned(rule: CrumblingRule, sensitivity: float) -> CrumblingRule:
    factor = 2.0 ** (1 - 2 * sensitivity)
    return CrumblingRule(
        least_contrast=rule.least_contrast * factor**0.45,
        over_sound=rule.over_sound * factor**0.45,
        least_area_mm2=rule.least_area_mm2 * factor**2,
        least_gap=rule.least_gap * factor**0.45,
    )


def _sound_level(strips: tuple[Strip, ...], found: list[Image]) -> float:
    """Median texture of all rubber; patches rarely cover half of a whole edge."""
    values = np.concatenate([m[s.sure] for s, m in zip(strips, found, strict=True)])
    return float(np.median(values)) if len(values) else 0.0


def _patches(
    strip: Strip, dark: Image, found: Image, *, sound: float, rule: CrumblingRule
) -> list[_Patch]:
    least = max(rule.least_contrast, rule.over_sound * sound)
    aligned = _alignment(strip, dark)
    cores = _cores(strip, found, aligned, least=least, rule=rule)
    labels, count = _joined(cores, reach_px=rule.join_mm / 2 * strip.px_per_mm)
    kept: list[_Patch] = []
    for label in range(1, count + 1):
        core = cores & (labels == label)
        if not _is_crumbled(core, dark, aligned, strip=strip, rule=rule):
            continue
        outline = outline_of(strip, dark, core, join_mm=rule.join_mm)
        if outline is not None:
            contrast = float(np.median(found[core]))
            kept.append(
                _Patch(
                    polygon_px=outline,
                    layer=strip.layer.index,
                    strength=_strength(contrast, core, sound=sound, strip=strip),
                )
            )
    return kept


def _cores(
    strip: Strip, found: Image, aligned: Image, *, least: float, rule: CrumblingRule
) -> Mask:
    quiet_sides = without_lines(strip, found)
    wide = (quiet_sides > least) & (quiet_sides > rule.least_side_share * found)
    return wide & (aligned < rule.line_alignment) & (strip.inside > 0.5)


def _joined(cores: Mask, *, reach_px: float) -> tuple[NDArray[np.int32], int]:
    """Label pieces; those nearer than twice the reach get one label."""
    grown = cv2.dilate(cores.astype(np.uint8), disc(reach_px))
    count, labels = cv2.connectedComponents(grown, connectivity=8)
    return np.asarray(labels, dtype=np.int32), count - 1


def _alignment(strip: Strip, dark: Image) -> Image:
    """Coherence of the structure tensor over 0.8 mm: 1 on a line, near 0 on grains."""
    fine = blur(dark, 0.08 * strip.px_per_mm)
    gx = cv2.Sobel(fine, cv2.CV_32F, 1, 0)
    gy = cv2.Sobel(fine, cv2.CV_32F, 0, 1)
    pool = 0.8 * strip.px_per_mm
    xx, yy, xy = blur(gx * gx, pool), blur(gy * gy, pool), blur(gx * gy, pool)
    return np.asarray(np.hypot(xx - yy, 2 * xy) / (xx + yy + 1e-9), dtype=np.float32)


def _is_crumbled(
    core: Mask, dark: Image, aligned: Image, *, strip: Strip, rule: CrumblingRule
) -> bool:
    area_mm2 = float(core.sum()) / strip.px_per_mm**2
    if area_mm2 < rule.least_area_mm2:
        return False
    if float(np.percentile(dark[core], 90)) < rule.least_gap:
        return False
    return float(np.median(aligned[core])) <= rule.most_aligned


def _strength(contrast: float, core: Mask, *, sound: float, strip: Strip) -> float:
    """0 to 1 whatever the sensitivity: a half at 0.08 log units over 2 mm2."""
    area_mm2 = float(core.sum()) / strip.px_per_mm**2
    usual = max(0.08, 3.5 * sound)
    evidence = 3 * math.log(contrast / usual) + 0.5 * math.log(area_mm2 / 2)
    return 1 / (1 + math.exp(-1.5 * evidence))


def _finding(number: int, patch: _Patch, scale: Scale, *, edge: Edge) -> Finding:
    return Finding(
        id=f"crumbling-{number}",
        kind="crumbling",
        layer=patch.layer,
        strength=patch.strength,
        polygon_px=patch.polygon_px,
        quantities=measure_area(patch.polygon_px, scale, edge=edge),
    )
