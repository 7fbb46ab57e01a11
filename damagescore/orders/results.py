"""What came of each part of an order, and which needs an inspector first."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from damagescore.around import Around
from damagescore.batch import refusal_of
from damagescore.inspection import (
    add_photo,
    assess_inspection,
    assessment_of,
    circumference_of,
    n_proposed,
    new_inspection,
)
from damagescore.inspection.record import Inspection
from damagescore.limits import Assessment, LimitSet
from damagescore.measurement import MeasureOptions
from damagescore.orders.record import OrderPart, OrderPhoto

URGENCY = ("exceeded", "borderline", "not_fully_assessed", "not_assessed", "no_photo", "within")
"""Results in the order in which a part needs an inspector."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One assigned photo with what came of it.

    `fault` is one sentence on why it could not be measured; then there is no measurement.
    """

    photo: OrderPhoto
    options: MeasureOptions
    measurement: Mapping[str, Any] | None = None
    fault: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartResult:
    """One part of an order with its inspection; `result_of` makes it.

    Parameters
    ----------
    part : OrderPart
    inspection : Inspection or None
        None where no photo of it could be read.
    to_retake : tuple of (name, reason)
        Photos that could not be judged.
    assessment : Assessment or None
        Of the inspection, read once.
    around : Around or None
        Its round edge; None for a flat one.
    """

    part: OrderPart
    inspection: Inspection | None
    to_retake: tuple[tuple[str, str], ...] = ()
    assessment: Assessment | None = None
    around: Around | None = None

    @property
    def outcome(self) -> str:
        """One of `URGENCY`."""
        if self.inspection is None or not self.inspection.photos:
            return "no_photo"
        return "not_assessed" if self.assessment is None else self.assessment.outcome

    @property
    def score(self) -> float | None:
        """Largest usage of a limit times 100; None where nothing was measured."""
        return None if self.assessment is None else self.assessment.score

    @property
    def worst(self) -> str:
        """The criterion with the largest usage, as its document words it."""
        found = self.assessment
        results = () if found is None else found.results
        return next((r.text for r in results if found and r.id == found.worst), "")

    @property
    def n_not_judged(self) -> int:
        """Criteria that could not be fully judged."""
        results = () if self.assessment is None else self.assessment.results
        return sum(not r.complete for r in results)

    @property
    def n_to_review(self) -> int:
        """Findings that nobody has reviewed."""
        return 0 if self.inspection is None else n_proposed(self.inspection)

    @property
    def seen(self) -> str:
        """What was seen of a round edge; empty for a flat one."""
        if self.around is None:
            return ""
        return (
            "all" if self.around.complete else f"{int(self.around.seen_deg.value)} of 360 deg"
        )


def ranked(results: Iterable[PartResult]) -> tuple[PartResult, ...]:
    """Sort parts by who needs an inspector first.

    By result, then by the largest usage of a limit, then by how much could not be judged.
    """
    return tuple(
        sorted(
            results,
            key=lambda r: (
                URGENCY.index(r.outcome), -(r.score or 0.0), -r.n_not_judged,
                -len(r.to_retake), r.part.key,
            ),
        )
    )  # fmt: skip


def part_result(
    part: OrderPart, shots: Iterable[Shot], *, limits: LimitSet | None, by: str
) -> PartResult:
    """Put the measured photos of a part into an inspection and compare it with the limits.

    Nobody has reviewed the findings: they count as proposals.
    """
    inspection = new_inspection(part.part, by=by)
    retake = []
    for shot in shots:
        plain = shot.measurement
        if plain is None:
            retake.append((shot.photo.name, shot.fault))
            continue
        if plain["photo"]["sha256"] is not None:
            inspection = add_photo(
                inspection, sha256=shot.photo.sha256, name=shot.photo.name, measurement=plain,
                options=shot.options.to_dict(), by=by,
            )  # fmt: skip
        if not plain["quality"]["usable"]:
            retake.append((shot.photo.name, refusal_of(plain)))
    if not inspection.photos:
        return result_of(part, None, to_retake=retake)
    if limits is not None:
        inspection = assess_inspection(inspection, limits, by=by)
    return result_of(part, inspection, to_retake=retake)


def result_of(
    part: OrderPart,
    inspection: Inspection | None,
    *,
    to_retake: Iterable[tuple[str, str]] | None = None,
) -> PartResult:
    """The result of a part; photos to retake are those that its inspection refused."""
    if to_retake is None:
        to_retake = (
            (e.name, refusal_of(e.measurement))
            for e in (inspection.photos if inspection is not None else ())
            if not e.measurement["quality"]["usable"]
        )
    return PartResult(
        part=part,
        inspection=inspection,
        to_retake=tuple(to_retake),
        assessment=None if inspection is None else assessment_of(inspection),
        around=None if inspection is None else circumference_of(inspection),
    )
