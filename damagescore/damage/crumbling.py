"""Find crumbled rubber: granular broken relief where rubber is lost."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.areas import measure_area
from damagescore.damage.crumbling_outline import outline_of
from damagescore.damage.crumbling_sound import sound_texture
from damagescore.damage.crumbling_texture import (
    Image,
    Mask,
    Strip,
    blur,
    cut_strip,
    darkness,
    disc,
    light_on,
    local_level,
    pooled,
    texture,
    without_lines,
)
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

GAP_BLUR_MM = 0.06
"""A third of the narrowest grain: single noisy pixels are averaged out, gaps stay."""

UNCLIPPED = 1.71
"""Noise over the noise of its darker half: 1 / sqrt(1/2 - 1/(2 pi)) for a normal one.

Sound texture is read below the local level, where noise loses its brighter half; where
rubber is darker than the light should make it, all of the noise counts as darkness."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CrumblingRule:
    """What counts as crumbling; lengths in mm, contrasts in log units.

    Parameters
    ----------
    least_contrast : float
        Texture of a patch's core beyond that of sound rubber (as energies). Broken
        relief showed 0.06 to 0.17 on the development scenes, less in even light.
    over_sound : float
        The same as a multiple of the texture of sound rubber under the same light,
        so that noisy, dark or dusty rubber needs more; see `sound_texture`.
    least_area_mm2 : float
        Smallest core: about fifteen grains; less is a chip or a speck.
    least_gap : float
        Darkness below sound rubber that a tenth of a core must reach: gaps between
        grains are deep; stains are even. Read after a blur of `GAP_BLUR_MM`, so that
        noise in deep shadow does not pass for gaps.
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

    least_contrast: float = 0.05
    over_sound: float = 1.1
    least_area_mm2: float = 1.5
    least_gap: float = 0.17
    least_side_share: float = 0.4
    line_alignment: float = 0.85
    most_aligned: float = 0.62
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
    levels = tuple(local_level(s, light) for s, light in zip(strips, lights, strict=True))
    details = [darkness(s, level) for s, level in zip(strips, levels, strict=True)]
    plain = [texture(s, dark) for s, dark in zip(strips, details, strict=True)]
    sounds = sound_texture(strips, levels, plain)
    views = [
        _view(strip, np.maximum(light, level), detail, sound)
        for strip, light, level, detail, sound in zip(
            strips, lights, levels, details, sounds, strict=True
        )
    ]
    rule = _tuned(CrumblingRule(), sensitivity)
    patches = [patch for view in views for patch in _patches(view, rule)]
    return tuple(
        _finding(number, patch, scale, edge=edge)
        for number, patch in enumerate(patches, start=1)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """What is seen on one layer, and the texture that sound rubber would show there."""

    strip: Strip
    dark: Image
    detail: Image
    found: Image
    sound: Image


def _view(strip: Strip, light: Image, detail: Image, sound: Image) -> _View:
    """Texture of all darkness below the light; under glare the level is the light."""
    dark = darkness(strip, light)
    return _View(
        strip=strip, dark=dark, detail=detail, found=texture(strip, dark),
        sound=np.float32(UNCLIPPED) * sound,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    polygon_px: Points
    layer: int
    strength: float
    u_unseen: float


def _tuned(rule: CrumblingRule, sensitivity: float) -> CrumblingRule:
    factor = 2.0 ** (1 - 2 * sensitivity)
    return CrumblingRule(
        least_contrast=rule.least_contrast * factor**0.45,
        over_sound=rule.over_sound * factor**0.45,
        least_area_mm2=rule.least_area_mm2 * factor**2,
        least_gap=rule.least_gap * factor**0.45,
    )


def _patches(view: _View, rule: CrumblingRule) -> list[_Patch]:
    strip, sound = view.strip, view.sound
    beyond = np.sqrt(np.maximum(view.found**2 - sound**2, 0))
    least = np.maximum(rule.least_contrast, rule.over_sound * sound)
    aligned = _alignment(strip, view.dark)
    cores = _cores(strip, beyond, aligned, least=least, rule=rule)
    labels, count = _joined(cores, reach_px=rule.join_mm / 2 * strip.px_per_mm)
    kept: list[_Patch] = []
    for label in range(1, count + 1):
        core = cores & (labels == label)
        if not _is_crumbled(core, view.detail, aligned, strip=strip, rule=rule):
            continue
        outline = outline_of(strip, view.dark, core, join_mm=rule.join_mm)
        if outline is not None:
            strength = _strength(
                float(np.median(beyond[core])),
                core,
                sound=float(np.median(sound[core])),
                strip=strip,
            )
            margin = float(np.median(beyond[core] / least[core]))
            kept.append(
                _Patch(
                    polygon_px=outline,
                    layer=strip.layer.index,
                    strength=strength,
                    u_unseen=_u_unseen(margin),
                )
            )
    return kept


def _u_unseen(margin: float) -> float:
    """Relative doubt of an area whose texture is `margin` times the least that counts.

    Of a patch that barely passes, about as much fails: areas of such patches were
    wrong by a third on the hard development scenes; at twice the least by none.
    """
    return 0.35 * math.exp(-(max(margin, 1.0) - 1) / 0.25)


def _cores(
    strip: Strip, found: Image, aligned: Image, *, least: Image, rule: CrumblingRule
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
    fine = pooled(strip, dark, 0.08)
    # The layer's own border would be a line, the strongest one in a thin layer.
    whole = cv2.erode(strip.sure.astype(np.uint8), disc(1.0), borderValue=1)
    gx = cv2.Sobel(fine, cv2.CV_32F, 1, 0) * whole
    gy = cv2.Sobel(fine, cv2.CV_32F, 0, 1) * whole
    pool = 0.8 * strip.px_per_mm
    xx, yy, xy = blur(gx * gx, pool), blur(gy * gy, pool), blur(gx * gy, pool)
    return np.asarray(np.hypot(xx - yy, 2 * xy) / (xx + yy + 1e-9), dtype=np.float32)


def _is_crumbled(
    core: Mask, dark: Image, aligned: Image, *, strip: Strip, rule: CrumblingRule
) -> bool:
    area_mm2 = float(core.sum()) / strip.px_per_mm**2
    if area_mm2 < rule.least_area_mm2:
        return False
    if float(np.percentile(pooled(strip, dark, GAP_BLUR_MM)[core], 90)) < rule.least_gap:
        return False
    return float(np.median(aligned[core])) <= rule.most_aligned


def _strength(contrast: float, core: Mask, *, sound: float, strip: Strip) -> float:
    """0 to 1 whatever the sensitivity: a half at 0.07 log units over 2 mm2."""
    area_mm2 = float(core.sum()) / strip.px_per_mm**2
    usual = max(0.07, 2.0 * sound)
    evidence = 3 * math.log(contrast / usual) + 0.5 * math.log(area_mm2 / 2)
    return 1 / (1 + math.exp(-1.5 * evidence))


def _finding(number: int, patch: _Patch, scale: Scale, *, edge: Edge) -> Finding:
    return Finding(
        id=f"crumbling-{number}",
        kind="crumbling",
        layer=patch.layer,
        strength=patch.strength,
        polygon_px=patch.polygon_px,
        quantities=measure_area(patch.polygon_px, scale, edge=edge, u_unseen=patch.u_unseen),
    )
