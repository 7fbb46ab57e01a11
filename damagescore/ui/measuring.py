"""Measure a photo for the app, and keep the options with the photo."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from damagescore.errors import PhotoError
from damagescore.measure import MeasureOptions, measure_photo
from damagescore.photo import read_photo
from damagescore.ui.session import photo_of, pyramid, store

FILE_KINDS = ("jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A photo in the store with its measurement as plain data."""

    sha256: str
    name: str
    options: Mapping[str, Any]
    measurement: Mapping[str, Any]


def measure_file(data: bytes, name: str, options: MeasureOptions) -> Measured:
    """Keep a photo file, make its tiles, measure it.

    Raises
    ------
    PhotoError
        When the file is no photo; nothing is kept then.
    RecordError
        When the store cannot keep it.
    """
    photo = read_photo(data, name=name)
    sha256 = store().put_photo(data)
    if sha256 != photo.sha256:
        raise PhotoError(f"{name} changed while it was read.", remedy="Choose it again.")
    pyramid().write(sha256, photo.rgb)
    measurement = measure_photo(photo, options)
    return Measured(
        sha256=sha256,
        name=name,
        options=options_to_dict(options),
        measurement=measurement.to_dict(),
    )


def measure_again(sha256: str, name: str, options: MeasureOptions) -> Measured:
    """Measure a photo of the store with other options."""
    measurement = measure_photo(photo_of(sha256, name), options)
    return Measured(
        sha256=sha256,
        name=name,
        options=options_to_dict(options),
        measurement=measurement.to_dict(),
    )


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
