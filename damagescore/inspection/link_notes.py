"""Suggested links between findings that nobody has decided on yet."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from damagescore.inspection.patches import finding_in
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.quantity import MM_PER_INCH, Length

MOVED_PX = 3.0
"""An end of a finding that lies farther from its link than this has been moved by hand."""


def open_links(entry: PhotoEntry) -> list[Mapping[str, Any]]:
    """Suggested links that nobody has decided on and that still join two findings."""
    return links_in(entry.measurement, {k: r.state for k, r in entry.reviews.items()})


def links_in(
    measurement: Mapping[str, Any], states: Mapping[str, str]
) -> list[Mapping[str, Any]]:
    """The same from a measurement and the states of its reviews, by finding or link."""
    return [
        link
        for link in measurement.get("links") or ()
        if link["id"] not in states and _holds(measurement, states, link)
    ]


def link_notes(inspection: Inspection) -> Iterator[str]:
    """One sentence for each photo with open links: lengths may be understated."""
    for number, entry in enumerate(inspection.photos, start=1):
        links = open_links(entry)
        if links:
            places = "; ".join(words_of_link(link) for link in links)
            yield (
                f"Photo {number}: a crack may go on beyond a gap, and nobody has decided on "
                f"it ({places}). Until it is joined or left apart, lengths may be understated."
            )


def words_of_link(link: Mapping[str, Any]) -> str:
    """Name the two ends of a link: "crack-1 and crack-2"."""
    return f"{link['first']} and {link['second'] or 'a faint line'}"


def gap_text(link: Mapping[str, Any], unit: Length) -> str:
    """How wide a link's gap is, with its unit: "0.8 mm"."""
    return f"{link['gap_mm'] / (1.0 if unit == 'mm' else MM_PER_INCH):.2g} {unit}"


def _holds(
    measurement: Mapping[str, Any], states: Mapping[str, str], link: Mapping[str, Any]
) -> bool:
    """Whether both findings still stand and end where the link does."""
    ends = ((link["first"], link["line_px"][0]), (link["second"], link["line_px"][-1]))
    return all(
        states.get(name) != "rejected" and _ends_at(finding_in(measurement, name), place)
        for name, place in ends
        if name is not None
    )


def _ends_at(finding: Mapping[str, Any] | None, place: list[float]) -> bool:
    if finding is None:
        return False
    tips = np.array([p for line in finding["lines_px"] for p in (line[0], line[-1])])
    return bool(len(tips) and np.min(np.hypot(*(tips - place).T)) <= MOVED_PX)
