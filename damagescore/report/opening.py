"""First part of the report: outcome, part, criteria, findings, hand measurements."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from reportlab.platypus import Flowable, Spacer, Table, TableStyle

from damagescore.inspection import Inspection, assessment_of
from damagescore.limits import Assessment, hand_quantities
from damagescore.quantity import Length, count_words
from damagescore.report.criteria import criteria_part, value_text
from damagescore.report.look import BODY_WIDTH, INK, grid, pairs, text
from damagescore.report.rows import Row, finding_rows, hand_rows
from damagescore.report.words import (
    DISPOSITIONS,
    EXPANDED,
    KINDS,
    NONE_FOUND,
    NOT_ASSESSED,
    NOT_SIGNED,
    OUTCOMES,
    QUANTITIES,
    SCORE_MEANING,
    STATES,
    when,
    words_of,
)


def opening(inspection: Inspection, *, unit: Length) -> Iterator[Flowable]:
    """Title, outcome and part."""
    yield text("Inspection record", "title")
    yield text(
        f"Record {inspection.id}, begun {when(inspection.created_at)}", "subtitle", most=300
    )
    if inspection.supersedes:
        yield text(
            f"Supersedes record {inspection.supersedes}. "
            f"Reason: {inspection.supersede_reason or 'none given'}",
            most=600,
        )
    yield Spacer(1, 6)
    yield outcome_banner(inspection)
    yield Spacer(1, 3)
    yield text(SCORE_MEANING, "note")
    yield from _if_reviewed_only(inspection)
    yield text(_decision_line(inspection), "text")
    yield text("Part", "heading")
    yield _part(inspection)
    yield text("Limits and criteria", "heading")
    yield from criteria_part(inspection, unit=unit)


def outcome_banner(inspection: Inspection) -> Table:
    """Make the box with the outcome in words; its border differs by outcome too."""
    assessment = assessment_of(inspection)
    outcome = None if assessment is None else assessment.outcome
    title, meaning = NOT_ASSESSED if outcome is None else OUTCOMES[outcome]
    score = None if assessment is None else assessment.score
    shown = "no score" if score is None else f"score {_score_text(score)}"
    signed = "" if inspection.signature else f"{NOT_SIGNED}: a draft, not a decision"
    table = Table(
        [
            [text(title, "outcome"), text(shown, "score")],
            [text(f"{meaning}{_gap(assessment)}"), text(signed, "right")],
        ],
        colWidths=[BODY_WIDTH * 0.66, BODY_WIDTH * 0.34],
    )
    width, dash = _BORDERS.get(outcome or "", (1.0, (1, 2)))
    table.setStyle(
        TableStyle([
            ("BOX", (0, 0), (-1, -1), width, INK, None, dash),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 8),
            ("RIGHTPADDING", (0, 0), (-1, -1), 8),
            ("BOTTOMPADDING", (0, 1), (-1, -1), 7),
        ])
    )  # fmt: skip
    return table


_BORDERS: Mapping[str, tuple[float, tuple[int, int] | None]] = {
    "within": (1.0, None),
    "borderline": (2.0, (6, 3)),
    "exceeded": (4.0, None),
    "not_fully_assessed": (1.5, (1, 2)),
}
"""By outcome: border width and dash."""


def findings(inspection: Inspection, *, unit: Length) -> Iterator[Flowable]:
    """Table of all findings, rejected ones included."""
    yield text("Findings", "heading")
    rows = finding_rows(inspection)
    refused = [e for e in inspection.photos if not _usable(e.measurement)]
    if not inspection.photos:
        yield text("There is no photo in this record, so nothing was looked at.")
    elif not rows and len(refused) == len(inspection.photos):
        yield text("Not measured: no photo could be judged. The reasons stand with each photo.")
    elif not rows:
        where = " where the rubber could be judged" if _partly_judged(inspection) else ""
        yield text(f"None: the program {NONE_FOUND}{where}, and none was added by hand.")
    if rows and refused:
        yield text("Photos that could not be judged have no findings; see there.", "note")
    if not rows:
        return
    yield text(f"{EXPANDED} Layers are counted from the bottom of the photo, 0 first.", "note")
    yield Spacer(1, 3)
    yield grid(
        ("Photo", "Finding", "Kind", "Layer", "Measured", "State", "Reviewed by, reason"),
        [_finding_cells(row, unit=unit) for row in rows],
        widths=(7, 13, 11, 7, 35, 12, 21),
    )


def hand_measurements(inspection: Inspection, *, unit: Length) -> Iterator[Flowable]:
    """Table of what was measured by hand."""
    yield text("Hand measurements", "heading")
    if not inspection.hand:
        yield text("None.")
        return
    yield grid(
        ("Quantity", "Layer", "Value", "Gauge", "By, at", "Note"),
        [_hand_cells(row, unit=unit) for row in hand_rows(inspection)],
        widths=(20, 7, 22, 14, 22, 21),
    )


def _partly_judged(inspection: Inspection) -> bool:
    """Whether a photo shows rubber on which damage would not have been seen."""
    return any(e.measurement.get("unjudged") for e in inspection.photos)


def _usable(measurement: Mapping[str, Any]) -> bool:
    return bool((measurement.get("quality") or {}).get("usable"))


def _gap(assessment: Assessment | None) -> str:
    """Say what is missing where a worse outcome hides it."""
    if assessment is None or assessment.outcome != "exceeded" or assessment.fully_assessed:
        return ""
    missing = sum(not r.complete for r in assessment.results)
    return f" Besides, {missing} of {len(assessment.results)} criteria were not fully assessed."


def _score_text(score: float) -> str:
    # Where no damage is allowed, any damage uses more than every number.
    return "∞" if math.isinf(score) else f"{score:.0f}"


def _if_reviewed_only(inspection: Inspection) -> Iterator[Flowable]:
    assessment = assessment_of(inspection)
    if assessment is None or not assessment.n_proposed:
        return
    score = assessment.confirmed_score
    shown = "no score" if score is None else f"score {_score_text(score)}"
    yield text(
        f"Proposed, not reviewed, counted: {count_words(assessment.n_proposed, 'finding')}. "
        f"With reviewed findings only: {OUTCOMES[assessment.confirmed_outcome][0]}, {shown}."
    )


def _decision_line(inspection: Inspection) -> str:
    signature = inspection.signature
    if signature is None:
        return f"Inspector's decision: none yet. {NOT_SIGNED}."
    decided = words_of(signature.disposition, DISPOSITIONS)
    return f"Inspector's decision: {decided}, signed by {signature.name}, {when(signature.at)}."


def _part(inspection: Inspection) -> Table:
    part = inspection.part
    return pairs([
        ("Part number", part.part_number or "not given"),
        ("Serial number", part.serial_number or "not given"),
        ("Description", part.description or "not given"),
        ("Position", part.position or "not given"),
        ("Hours in service", "not given" if part.hours is None else f"{part.hours:g}"),
        ("Cycles", "not given" if part.cycles is None else f"{part.cycles:g}"),
        ("Work order", part.work_order or "not given"),
        *_given(inspection),
    ])  # fmt: skip


def _given(inspection: Inspection) -> Iterator[tuple[str, str]]:
    """Give what only some rules ask for, where it was given."""
    part, task = inspection.part, inspection.task
    if part.hours_since_overhaul is not None:
        yield "Hours since overhaul", f"{part.hours_since_overhaul:g}"
    if part.fitted_to:
        yield "Fitted to", part.fitted_to
    if part.total_time_h is not None:
        yield "Its total time in service", f"{part.total_time_h:g} h"
    words = (
        ("Type of inspection", task.kind), ("Extent", task.extent),
        ("Maintenance data", task.data), ("Place", task.place),
        ("Check of the camera", task.cameras),
    )  # fmt: skip
    yield from ((label, value) for label, value in words if value)


def _finding_cells(row: Row, *, unit: Length) -> Sequence[object]:
    measured = [
        text(f"{words_of(name, QUANTITIES)} {value_text(q, unit)}", "cell")
        for name, q in row.quantities.items()
    ]
    review = row.review
    who = "" if review is None else f"{review.by}, {when(review.at)}"
    reason = "" if review is None or not review.reason else f". {review.reason}"
    return (
        row.photo_number,
        row.id if row.origin == "auto" else f"{row.id} ({row.origin})",
        words_of(row.kind, KINDS),
        "not known" if row.layer is None else row.layer,
        measured or "not measured: no quantity",
        words_of(row.state, STATES),
        who + reason,
    )


def _hand_cells(row: Row, *, unit: Length) -> Sequence[object]:
    (quantity,) = row.quantities.values()
    labels = {kind.name: kind.label for kind in hand_quantities()}
    return (
        words_of(row.kind, labels),
        "whole part" if row.layer is None else row.layer,
        value_text(quantity, unit),
        row.gauge_id or "not given",
        f"{row.by}, {when(row.at)}",
        row.note,
    )
