"""The quality gate: every check of a photo, and whether it may be measured."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from damagescore.photo.record import Photo
from damagescore.quality.blur import blur_check
from damagescore.quality.focus import focus_checks
from damagescore.quality.geometry import (
    lens_check,
    marks_check,
    resolution_check,
    tilt_check,
    uncertainty_check,
)
from damagescore.quality.light import light_checks
from damagescore.quality.planes import planes_check
from damagescore.quality.record import Check, Quality
from damagescore.quality.rule import QualityRule
from damagescore.scale.record import Scale

Points = NDArray[np.float64]


def check_quality(
    photo: Photo,
    *,
    scale: Scale | None,
    edge_polygons_px: list[Points] | None,
    smallest_limit_mm: float | None = None,
    view: Literal["face", "profile"] = "face",
    layers_doubt: str = "",
) -> Quality:
    """Check whether a photo can be measured.

    Parameters
    ----------
    photo : Photo
    scale : Scale or None
        None refuses the photo.
    edge_polygons_px : list of ndarray, shape (N, 2), or None
        Outlines of the rubber layers; None or none refuses the photo.
    smallest_limit_mm : float, optional
        Smallest length that the limits ask for: at least 3 px must lie over it.
    view : "face" or "profile"
        In a profile view the rubber is a dark outline off the mark's plane, so that
        its exposure and the course of its layers tell nothing.
    layers_doubt : str
        Why the number of layers is not sure (`Edge.doubt`); empty where it is.

    Returns
    -------
    Quality
        Not usable when any check refuses.
    """
    rule = QualityRule()
    polygons = [np.asarray(p, dtype=np.float64) for p in edge_polygons_px or ()]
    checks: list[Check] = []
    if scale is None:
        blur = blur_check(photo)
        checks += [] if blur is None else [blur]
        checks.append(
            _refused("scale", "No scale was found: lay a scale mark beside the rubber.")
        )
    else:
        checks += _scale_checks(scale, smallest_limit_mm=smallest_limit_mm, rule=rule)
        checks += focus_checks(
            photo, scale, edge_polygons_px=polygons, needed_mm=smallest_limit_mm, rule=rule
        )
    if not polygons:
        checks.append(
            _refused("edge", "No laminated edge was found: show it from plate to plate.")
        )
    elif scale is not None and view == "face":
        planes = planes_check(scale, polygons, rule=rule)
        checks += [] if planes is None else [planes]
    if polygons and layers_doubt:
        checks.append(_doubted(len(polygons), layers_doubt))
    judged = polygons if view == "face" else None
    checks += light_checks(photo, scale=scale, edge_polygons_px=judged, rule=rule)
    return Quality.of(tuple(checks))


def _scale_checks(
    scale: Scale, *, smallest_limit_mm: float | None, rule: QualityRule
) -> list[Check]:
    found = [
        resolution_check(scale, smallest_limit_mm=smallest_limit_mm, rule=rule),
        tilt_check(scale, rule=rule),
        uncertainty_check(scale, rule=rule),
    ]
    more = (marks_check(scale, rule=rule), lens_check(scale))
    return [*found, *(c for c in more if c is not None)]


def _doubted(count: int, why: str) -> Check:
    message = (
        f"{count} rubber layers were found, but {why}: count them, and give the number of "
        "layers or correct them."
    )
    return Check(name="layers", outcome="warn", value=float(count), unit="", message=message)


def _refused(name: str, message: str) -> Check:
    return Check(name=name, outcome="refuse", value=None, unit="", message=message)
