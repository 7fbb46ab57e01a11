"""Is there grey level left to judge: exposure and glare over the rubber."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.photo.outline import fill_outline
from damagescore.photo.record import Photo
from damagescore.quality.record import Check
from damagescore.quality.rule import QualityRule
from damagescore.ranks import median, quantile
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

WHITE = 250.0
"""At and above this a pixel holds no more detail (JPEG rounds 255 down a little)."""

BLACK = 10.0
"""At and below this a crack cannot be darker than its surroundings."""

GLARE_TIMES = 4.0
"""Rubber this much brighter than its median is veiled by a lamp's mirror image: a crack
keeps a quarter of its contrast there. Dust stays below 1.6."""

SAMPLES = 1.0e6
"""Pixels from which shares are read."""

BLOCK_PX = 8
"""Side of the blocks over which glare is averaged, so that specks do not count."""


def light_checks(
    photo: Photo,
    *,
    scale: Scale | None,
    edge_polygons_px: list[Points] | None,
    rule: QualityRule,
) -> tuple[Check, ...]:
    """Judge exposure over all, at the mark and over the rubber, and glare over the rubber.

    Shares are read on every fourth pixel of large photos; that is exact enough by far.
    """
    step = max(1, round(math.sqrt(photo.grey.size / SAMPLES)))
    grey = np.ascontiguousarray(photo.grey[::step, ::step])
    whole = 100 * float(np.mean(grey >= WHITE))
    no_black = quantile(grey, 0.01) > rule.darkest_level
    checks = [_whole_photo(whole, no_black=no_black, rule=rule)]
    at_mark = None if scale is None else _mark_check(photo, scale, rule)
    checks += [] if at_mark is None else [at_mark]
    mask = _rubber_mask(grey.shape, edge_polygons_px or [], step)
    if mask.any():
        rubber = grey[mask]
        checks += [_bright(rubber, rule), _dark(rubber, rule), _glare(grey, mask, step, rule)]
    return tuple(checks)


def _rubber_mask(shape: tuple[int, ...], polygons_px: list[Points], step: int) -> Mask:
    """True on the rubber layers, on every `step`-th pixel."""
    mask = np.zeros(shape, dtype=np.uint8)
    for polygon in polygons_px:
        fill_outline(mask, np.asarray(polygon) / step, 1)
    return mask.astype(bool)


def _mark_check(photo: Photo, scale: Scale, rule: QualityRule) -> Check | None:
    """Judge the black of the square marks where their white is clipped; None without any."""
    levels = [
        _black_and_white(photo, m.corners_px) for m in scale.marks if len(m.corners_px) == 4
    ]
    clipped = [black for black, white in levels if white >= WHITE]
    if not levels:
        return None
    black = min(clipped, default=min(b for b, _ in levels))
    outcome = rule.mark_black_level.judge(black) if len(clipped) == len(levels) else "pass"
    message = f"The black of the scale mark has grey level {black:.0f}"
    if outcome != "pass":
        message += (
            f" and its white is clipped; up to {rule.mark_black_level.warn:.0f} is wanted: "
            "take the photo with less light or a shorter exposure"
        )
    return Check(
        name="exposure_mark", outcome=outcome, value=black, unit="grey level",
        message=message + ".",
    )  # fmt: skip


def _black_and_white(photo: Photo, corners_px: Points) -> tuple[float, float]:
    """Grey levels of a square mark's dark and bright cells."""
    low = np.maximum(np.floor(corners_px.min(axis=0)).astype(int), 0)
    high = np.ceil(corners_px.max(axis=0)).astype(int) + 1
    piece = photo.grey[low[1] : high[1], low[0] : high[0]]
    if piece.size == 0:
        return 0.0, 0.0
    inside = np.zeros(piece.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(corners_px - low).astype(np.int32)], (1,))
    black, white = np.percentile(piece[inside > 0], [10, 90]) if inside.any() else (0.0, 0.0)
    return float(black), float(white)


def _share(name: str, value: float, outcome: str, *, what: str, remedy: str) -> Check:
    message = f"{value:.1f} % of {what}"
    message += "." if outcome == "pass" else f": {remedy}"
    return Check(
        name=name,
        outcome=outcome,  # type: ignore[arg-type]
        value=value,
        unit="%",
        message=message,
    )


def _whole_photo(percent: float, *, no_black: bool, rule: QualityRule) -> Check:
    outcome = rule.saturated_photo_percent.judge(percent)
    return _share(
        "exposure_photo",
        percent,
        "refuse" if outcome == "warn" and no_black else outcome,
        what="the photo is white without detail",
        remedy="take it with less light or a shorter exposure.",
    )


def _bright(rubber: NDArray[np.float32], rule: QualityRule) -> Check:
    percent = 100 * float(np.mean(rubber >= WHITE))
    return _share(
        "exposure",
        percent,
        rule.saturated_rubber_percent.judge(percent),
        what="the rubber is white without detail",
        remedy="take the photo with less light or a shorter exposure.",
    )


def _dark(rubber: NDArray[np.float32], rule: QualityRule) -> Check:
    percent = 100 * float(np.mean(rubber <= BLACK))
    return _share(
        "exposure_dark",
        percent,
        rule.dark_rubber_percent.judge(percent),
        what="the rubber is black without detail",
        remedy="take the photo with more light or a longer exposure.",
    )


def _glare(grey: NDArray[np.float32], mask: Mask, step: int, rule: QualityRule) -> Check:
    """Share of rubber that is locally washed out: bright over more than a speck."""
    block = max(1, round(BLOCK_PX / step))
    size = tuple(max(BLOCK_PX, n // block) for n in grey.shape[::-1])
    kept = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    lit = cv2.resize(grey * mask, size, interpolation=cv2.INTER_AREA)
    known = kept > 0.6
    if not known.any():
        known = kept > 0
    level = lit[known] / kept[known]
    usual = max(median(level), 20.0)
    washed = (level > GLARE_TIMES * usual) | (level >= 0.95 * WHITE)
    percent = 100 * float(np.mean(washed))
    return _share(
        "glare",
        percent,
        rule.glare_percent.judge(percent),
        what="the rubber is washed out by reflections",
        remedy="move the lamp to the side or use diffuse light.",
    )
