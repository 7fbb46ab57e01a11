"""Two findings of one photo joined across a gap: measured as one crack, totals following."""

import numpy as np

from damagescore.damage.links import Link, joined_lines
from damagescore.damage.record import Finding
from damagescore.errors import UsageError
from damagescore.measure import measure_finding, with_findings
from damagescore.measurement import Measurement
from damagescore.photo.record import Photo


def with_joined(photo: Photo, measurement: Measurement, link_id: str) -> Measurement:
    """Take a suggested link: its first finding goes on, the second one is part of it.

    Parameters
    ----------
    photo : Photo
    measurement : Measurement
        Of this photo, with the link.
    link_id : str

    Returns
    -------
    Measurement
        Without the second finding. The first is measured anew over both, the way across
        the gap included, with a budget line "bridged gap".

    Raises
    ------
    UsageError
        When there is no such link, or its findings have been changed since.
    """
    link = next((x for x in measurement.links if x.id == link_id), None)
    if link is None or measurement.scale is None or measurement.edge is None:
        raise UsageError(
            f"The photo has no link {link_id[:80]!r}.", remedy="Choose one that is shown."
        )
    first, second = _both(measurement, link)
    other = link.beyond_px if second is None else second.lines_px
    ends = np.array([link.line_px[0], link.line_px[-1]])
    behind = () if second is None else second.bridged_px
    # What one end is known to, the whole is: the search's ends are the less certain.
    automatic = first.origin == "auto" or second is None or second.origin == "auto"
    draft = Finding(
        id=first.id, kind=first.kind, layer=first.layer, strength=first.strength,
        lines_px=joined_lines(first.lines_px, other, link.line_px),
        origin="auto" if automatic else first.origin,
        bridged_px=(*first.bridged_px, *behind, ends),
    )  # fmt: skip
    whole = measure_finding(
        photo, draft, measurement.scale, edge=measurement.edge, unjudged=measurement.unjudged
    )
    kept = [f for f in measurement.findings if f.id != link.second]
    return with_findings(measurement, [whole if f.id == first.id else f for f in kept])


def _both(measurement: Measurement, link: Link) -> tuple[Finding, Finding | None]:
    """The findings of a link, which must still end where it begins and ends."""
    by_id = {f.id: f for f in measurement.findings}
    first = by_id.get(link.first)
    second = None if link.second is None else by_id.get(link.second)
    if first is None or (link.second is not None and second is None):
        raise UsageError(
            f"A finding of {link.id} is gone, so it cannot be joined.",
            remedy="Trace the crack instead.",
        )
    return first, second
