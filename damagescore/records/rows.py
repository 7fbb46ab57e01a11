"""Between an inspection and its row; what a search shows of a record."""

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from damagescore.errors import DamageScoreError
from damagescore.inspection import inspection_from_dict
from damagescore.inspection.record import Inspection
from damagescore.records.tables import InspectionRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """One record in a list.

    Parameters
    ----------
    revision : int
        Number of times it was saved.
    inspectors : tuple of str
        Everyone who signed, edited or measured.
    outcome : str or None
        "within", "borderline", "exceeded", "not_fully_assessed"; None when never
        assessed.
    score : float or None
        Largest usage times 100; 100 is at the removal limit. Infinite where damage
        exceeds a limit of 0.
    superseded_by : str or None
        The record that replaced this one.
    """

    id: str
    revision: int
    created_at: str
    saved_at: str
    part_number: str
    serial_number: str
    work_order: str
    inspectors: tuple[str, ...]
    outcome: str | None
    score: float | None
    signed: bool
    signed_at: str | None
    disposition: str | None
    supersedes: str | None
    superseded_by: str | None = None


def now_utc() -> str:
    """Now, ISO 8601, UTC."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def row_values(inspection: Inspection, body: str) -> dict[str, Any]:
    """Columns of an inspection's row, all but the revision."""
    part, signature = inspection.part, inspection.signature
    assessment = inspection.assessment or {}
    inspectors = list(dict.fromkeys(_people(inspection)))
    searched = (
        inspection.id, part.part_number, part.serial_number, part.work_order,
        part.description, part.position, *inspectors,
    )  # fmt: skip
    return {
        "id": inspection.id,
        "created_at": inspection.created_at,
        "saved_at": now_utc(),
        "part_number": part.part_number,
        "serial_number": part.serial_number,
        "work_order": part.work_order,
        "inspectors": "\n".join(inspectors),
        "outcome": assessment.get("outcome"),
        "score": _score(assessment),
        "signed": signature is not None,
        "signed_at": None if signature is None else signature.at,
        "disposition": None if signature is None else signature.disposition,
        "supersedes": inspection.supersedes,
        "search_text": "\n".join(searched).casefold(),
        "body": body,
    }


def summary_of(row: InspectionRow, *, superseded_by: str | None) -> Summary:
    """What a list shows of a row."""
    names = (
        "id", "revision", "created_at", "saved_at", "part_number", "serial_number",
        "work_order", "outcome", "score", "signed", "signed_at", "disposition", "supersedes",
    )  # fmt: skip
    return Summary(
        **{name: getattr(row, name) for name in names},
        inspectors=tuple(row.inspectors.split("\n")) if row.inspectors else (),
        superseded_by=superseded_by,
    )


def photos_in(body: str) -> list[str]:
    """SHA-256 of each photo that a stored record names."""
    return [entry["sha256"] for entry in json.loads(body).get("photos", ())]


def columns_at_odds(row: InspectionRow) -> list[str]:
    """Tell where a list would show something else than the record itself says."""
    try:
        said = row_values(inspection_from_dict(json.loads(row.body)), row.body)
    except (KeyError, TypeError, ValueError, DamageScoreError):
        return [f"Signed record {row.id} cannot be read any more."]
    odd = [k for k, v in said.items() if k != "saved_at" and getattr(row, k) != v]
    return [f"The list shows another {name} for record {row.id} than it holds." for name in odd]


def _score(assessment: Mapping[str, Any]) -> float | None:
    # An assessment's plain form has no infinity, as JSON has none.
    if assessment.get("score_unbounded"):
        return math.inf
    return assessment.get("score")


def _people(inspection: Inspection) -> Iterator[str]:
    if inspection.signature is not None:
        yield inspection.signature.name
    yield from (e.by for e in inspection.edits if e.by)
    yield from (h.by for h in inspection.hand if h.by)
