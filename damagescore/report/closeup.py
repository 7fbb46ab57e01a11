"""A close-up of the findings, so that fine damage is seen at the photo's own resolution."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from damagescore.report.marks import Points, finding_marks

MARGIN = 0.08
"""Free space around the findings, as a share of the close-up's longest side."""

LEAST_SIDE_PX = 200
MOST_SHARE = 0.7
"""A close-up larger than this share of the photo would show nothing more."""


def close_up(
    photo_rgb: NDArray[np.uint8], measurement: Mapping[str, Any]
) -> tuple[NDArray[np.uint8], dict[str, Any]] | None:
    """Cut out the part of a photo that holds all findings.

    Parameters
    ----------
    photo_rgb : ndarray of uint8, shape (H, W, 3)
    measurement : mapping
        Schema damagescore/measurement/1.

    Returns
    -------
    tuple or None
        The pixels and the measurement with its geometry moved to them; None without
        findings, or where the findings take up most of the photo anyway.
    """
    points = [mark.points_px for mark in finding_marks(measurement)]
    if not points:
        return None
    height, width = photo_rgb.shape[:2]
    left, top, right, bottom = _box(np.vstack(points), (width, height))
    size = max(right - left, bottom - top)
    if size < 2 or size > MOST_SHARE * max(width, height):
        return None
    return photo_rgb[top:bottom, left:right], _moved(measurement, np.array([left, top]))


def _box(points: Points, size: tuple[int, int]) -> tuple[int, int, int, int]:
    low, high = points.min(axis=0), points.max(axis=0)
    longest = max(float((high - low).max()) * (1 + 2 * MARGIN), LEAST_SIDE_PX)
    # No narrower than a third of its length, so that it shows what lies beside.
    half = np.maximum((high - low) / 2 + MARGIN * longest, longest / 6)
    half[np.argmax(high - low)] = longest / 2
    # The report's space for it is wide: a tall one would leave the sides empty.
    half[0] = max(half[0], 1.5 * half[1])
    middle = (low + high) / 2
    left, top = (max(0, math.floor(v)) for v in middle - half)
    right, bottom = (
        min(most, math.ceil(v) + 1) for v, most in zip(middle + half, size, strict=True)
    )
    return left, top, right, bottom


def _moved(measurement: Mapping[str, Any], start: Points) -> dict[str, Any]:
    def shifted(points: Any) -> list[list[float]]:
        moved: list[list[float]] = (np.asarray(points, float).reshape(-1, 2) - start).tolist()
        return moved

    layers = [
        {**layer, "polygon_px": shifted(layer["polygon_px"])}
        for layer in measurement.get("layers") or ()
    ]
    findings = [
        {
            **finding,
            "lines_px": [shifted(line) for line in finding.get("lines_px") or ()],
            "polygon_px": shifted(finding["polygon_px"]) if finding.get("polygon_px") else None,
            "bridged_px": [shifted(ends) for ends in finding.get("bridged_px") or ()],
        }
        for finding in measurement.get("findings") or ()
    ]
    links = [
        {
            **link,
            "line_px": shifted(link["line_px"]),
            "beyond_px": [shifted(line) for line in link["beyond_px"]],
        }
        for link in measurement.get("links") or ()
    ]
    rulers = [
        {**line, "points_px": shifted(line["points_px"])}
        for line in measurement.get("rulers") or ()
    ]
    edge = measurement.get("edge")
    if edge:
        region, out = edge.get("region_px"), edge.get("drawn_keep_out_px") or ()
        edge = {
            **edge,
            "region_px": shifted(region) if region else None,
            "drawn_keep_out_px": [shifted(x) for x in out],
        }
    return {
        **measurement, "layers": layers, "findings": findings, "links": links,
        "rulers": rulers, "edge": edge,
    }  # fmt: skip
