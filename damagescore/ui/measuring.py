"""The options of a photo as they are kept with it."""

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from damagescore.measure import MeasureOptions

FILE_KINDS = ("jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif")


def options_to_dict(options: MeasureOptions) -> dict[str, Any]:
    """Options as plain data, to be kept with the photo."""
    plain: dict[str, Any] = json.loads(json.dumps(options.to_dict()))
    return plain


def with_two_points(
    plain: Mapping[str, Any], points: list[list[float]], *, length_mm: float
) -> MeasureOptions:
    """Change the scale of kept options to two points on the edge itself."""
    options = MeasureOptions.from_dict(plain)
    request = replace(
        options.scale,
        kind="two_points",
        size_mm=length_mm,
        points_px=tuple((float(x), float(y)) for x, y in points),
        # The points lie on the edge, so no mark stands off from it.
        standoff_mm=0.0,
    )
    return replace(options, scale=request)
