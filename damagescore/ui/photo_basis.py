"""What an edit of a photo starts from, and measuring the photo anew with what was reviewed."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from damagescore import inspection as aggregate
from damagescore.damage.record import Finding
from damagescore.errors import RecordError, UsageError
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.measure import Measurement, measure_photo
from damagescore.measurement import MeasureOptions
from damagescore.photo.record import Photo
from damagescore.ui.carry import carried
from damagescore.ui.known import finding_from, measurement_from
from damagescore.ui.measuring import options_to_dict
from damagescore.ui.session import inspector, photo_of, unit
from damagescore.ui.shapes import Points


def basis(entry: PhotoEntry) -> tuple[Photo, Measurement]:
    """The photo and its measurement."""
    return photo_of(entry.sha256, entry.name), measurement_from(entry.measurement)


def finding_of(entry: PhotoEntry, finding_id: str) -> Finding:
    """One finding of a photo; RecordError when it is gone."""
    for plain in entry.measurement["findings"]:
        if plain["id"] == finding_id:
            return finding_from(plain)
    raise RecordError(
        f"The photo has no finding {finding_id[:80]!r} any more.",
        remedy="Choose one of its findings.",
    )


def points_of(op: Mapping[str, Any]) -> Points:
    """The points that an edit carries, shape (N, 2)."""
    return np.asarray(op["points"], dtype=np.float64).reshape(-1, 2)


def plain_part(measurement: Measurement, finding_id: str) -> dict[str, Any]:
    """What an edit of one finding keeps of a measurement: that finding, and the totals."""
    return {
        "findings": [f.to_dict() for f in measurement.findings if f.id == finding_id],
        "totals": {name: q.to_dict() for name, q in measurement.totals.items()},
    }


def anew(
    inspection: Inspection,
    entry: PhotoEntry,
    options: MeasureOptions,
    *,
    reason: str,
    keep_layers: bool = True,
) -> Inspection:
    """Measure a photo with other options; what was reviewed on it is kept.

    Parameters
    ----------
    inspection : Inspection
    entry : PhotoEntry
    options : MeasureOptions
    reason : str
    keep_layers : bool
        False looks for the layers again, also where they were put right by hand.

    Raises
    ------
    UsageError
        When the photo would be refused; the change is not made then.
    """
    photo, old = basis(entry)
    new = measure_photo(photo, options, before=old if keep_layers else None)
    same_scale = options.scale == MeasureOptions.from_dict(entry.options).scale
    if old.quality.usable and not new.quality.usable and (entry.reviews or same_scale):
        raise UsageError(
            "Measured so the photo is refused, and the change was not made. "
            + " ".join(c.words(unit()) for c in new.quality.checks if c.outcome == "refuse"),
            remedy="Draw it another way.",
        )
    # A bulge is measured from the outline alone, so it is proposed anew.
    ids = [f.id for f in old.findings if f.id in entry.reviews and f.kind != "bulge"]
    return aggregate.replace_measurement(
        inspection, entry.sha256, measurement=carried(photo, new, old, ids=ids).to_dict(),
        options=options_to_dict(options), keep_reviews=ids, by=inspector(), reason=reason,
    )  # fmt: skip
