"""Is there grey level left to judge: exposure and glare over the rubber."""

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.photo.record import Photo
from damagescore.quality.record import Check
from damagescore.quality.rule import QualityRule

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

WHITE = 250.0
"""At and above this a pixel holds no more detail (JPEG rounds 255 down a little)."""

BLACK = 10.0
"""At and below this a crack cannot be darker than its surroundings."""

GLARE_TIMES = 2.5
"""Rubber this much brighter than its median mirrors a lamp; dust stays below 1.6."""


def rubber_mask(photo: Photo, polygons_px: list[Points]) -> Mask:
    """True on the rubber layers, shape (H, W)."""
    mask = np.zeros(photo.grey.shape, dtype=np.uint8)
    for polygon in polygons_px:
        fixed = np.round(np.asarray(polygon) * 16).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(mask, [fixed], (1,), shift=4)
    return mask.astype(bool)


def light_checks(
    photo: Photo, *, edge_polygons_px: list[Points] | None, rule: QualityRule
) -> tuple[Check, ...]:
    """Judge exposure over all and over the rubber, and glare over the rubber."""
    whole = 100 * float(np.mean(photo.grey >= WHITE))
    no_black = float(np.percentile(photo.grey, 1)) > rule.darkest_level
    checks = [_whole_photo(whole, no_black=no_black, rule=rule)]
    mask = rubber_mask(photo, edge_polygons_px) if edge_polygons_px else None
    if mask is not None and mask.any():
        rubber = photo.grey[mask]
        checks += [_bright(rubber, rule), _dark(rubber, rule), _glare(photo, mask, rule)]
    return tuple(checks)


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


def _glare(photo: Photo, mask: Mask, rule: QualityRule) -> Check:
    """Share of rubber that is locally washed out: bright over more than a speck."""
    size = (max(8, photo.width // 8), max(8, photo.height // 8))
    kept = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    lit = cv2.resize(photo.grey * mask, size, interpolation=cv2.INTER_AREA)
    known = kept > 0.6
    if not known.any():
        known = kept > 0
    level = lit[known] / kept[known]
    usual = max(float(np.median(level)), 20.0)
    washed = (level > GLARE_TIMES * usual) | (level >= 0.95 * WHITE)
    percent = 100 * float(np.mean(washed))
    return _share(
        "glare",
        percent,
        rule.glare_percent.judge(percent),
        what="the rubber is washed out by reflections",
        remedy="move the lamp to the side or use diffuse light.",
    )
