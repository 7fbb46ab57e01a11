"""Findings, totals and hand measurements as rows, the same for the PDF and the CSV."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from damagescore.inspection.record import Inspection, PhotoEntry, Review
from damagescore.quantity import Quantity, quantity_from_dict


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One finding, one total of a photo, or one hand measurement.

    Parameters
    ----------
    kind_of_row : "finding", "total" or "hand"
    photo_number : int or None
        Counted from 1 in the order of the inspection; None for a hand measurement.
    quantities : mapping of str to Quantity
    review : Review or None
        None for a finding that nobody reviewed.
    """

    kind_of_row: str
    id: str
    kind: str
    photo: PhotoEntry | None = None
    photo_number: int | None = None
    layer: int | None = None
    strength: float | None = None
    origin: str = ""
    review: Review | None = None
    quantities: Mapping[str, Quantity] = field(default_factory=dict)
    gauge_id: str = ""
    by: str = ""
    at: str = ""
    note: str = ""

    @property
    def state(self) -> str:
        if self.kind_of_row != "finding":
            return ""
        return "proposed" if self.review is None else self.review.state


def finding_rows(inspection: Inspection) -> list[Row]:
    """All findings of all photos, rejected ones included."""
    return [
        _finding(finding, entry, number=number)
        for number, entry in enumerate(inspection.photos, start=1)
        for finding in entry.measurement.get("findings") or ()
    ]


def total_rows(inspection: Inspection) -> Iterator[Row]:
    """Totals of each photo over all its findings, whatever their review."""
    for number, entry in enumerate(inspection.photos, start=1):
        for name, plain in (entry.measurement.get("totals") or {}).items():
            yield Row(
                kind_of_row="total",
                id=name,
                kind=name,
                photo=entry,
                photo_number=number,
                quantities={name: quantity_from_dict(plain)},
            )


def hand_rows(inspection: Inspection) -> Iterator[Row]:
    """All hand measurements."""
    for number, hand in enumerate(inspection.hand, start=1):
        yield Row(
            kind_of_row="hand",
            id=f"hand-{number}",
            kind=hand.quantity,
            layer=hand.layer,
            quantities={hand.quantity: hand.value},
            gauge_id=hand.gauge_id,
            by=hand.by,
            at=hand.at,
            note=hand.note,
        )


def states_of(entry: PhotoEntry) -> dict[str, str]:
    """Give the review state by finding id."""
    return {name: review.state for name, review in entry.reviews.items()}


def _finding(finding: Mapping[str, Any], entry: PhotoEntry, *, number: int) -> Row:
    return Row(
        kind_of_row="finding",
        id=str(finding["id"]),
        kind=finding["kind"],
        photo=entry,
        photo_number=number,
        layer=finding.get("layer"),
        strength=finding.get("strength"),
        origin=finding.get("origin", "auto"),
        review=entry.reviews.get(finding["id"]),
        quantities={
            name: quantity_from_dict(q) for name, q in (finding.get("quantities") or {}).items()
        },
    )
