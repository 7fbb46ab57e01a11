"""The record as JSON and the findings as CSV."""

import csv
import io
import json
from collections.abc import Iterator
from typing import Any

from damagescore.inspection import content_sha256, inspection_to_dict
from damagescore.inspection.record import Inspection
from damagescore.quantity import COVERAGE_FACTOR_95, Measured
from damagescore.report.rows import Row, finding_rows, hand_rows, total_rows
from damagescore.report.words import CAUTIONS

SCHEMA = "damagescore/record/1"

COLUMNS = (
    "record_id", "row", "id", "kind", "photo_number", "photo_name", "photo_sha256", "layer",
    "state", "reviewed_by", "reviewed_at", "reason", "origin", "strength", "quantity", "value",
    "u_k1", "expanded_uncertainty_k1.96", "unit", "not_measured_because", "gauge_id", "by",
    "at", "note",
)  # fmt: skip


def record_json(inspection: Inspection, *, software: str) -> str:
    """Text of record.json: the whole inspection, and what must be read with it.

    Lengths are in mm, uncertainties are standard ones (k = 1).
    """
    plain = {
        "schema": SCHEMA,
        "software": software,
        "cautions": list(CAUTIONS),
        "content_sha256": content_sha256(inspection),
        "inspection": inspection_to_dict(inspection),
    }
    return json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def findings_csv(inspection: Inspection) -> str:
    """Text of findings.csv: one line per quantity of each finding, total and hand value.

    Lengths are in mm and areas in mm2, whatever unit the PDF shows. A quantity that
    could not be measured has an empty value and a reason.
    """
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(COLUMNS)
    for row in (*finding_rows(inspection), *total_rows(inspection), *hand_rows(inspection)):
        for cells in _lines(row, inspection.id):
            writer.writerow([harmless(cells.get(name)) for name in COLUMNS])
    return file.getvalue()


def harmless(cell: object) -> object:
    """Keep a text cell from being run as a formula by a spreadsheet; numbers pass."""
    if not isinstance(cell, str):
        return cell
    if cell.startswith(("\t", "\r", "\n")) or cell.lstrip()[:1] in {"=", "+", "-", "@"}:
        return f"'{cell}"
    return cell


def _lines(row: Row, record_id: str) -> Iterator[dict[str, Any]]:
    photo, review = row.photo, row.review
    same = {
        "record_id": record_id,
        "row": row.kind_of_row,
        "id": row.id,
        "kind": row.kind,
        "photo_number": row.photo_number,
        "photo_name": None if photo is None else photo.name,
        "photo_sha256": None if photo is None else photo.sha256,
        "layer": row.layer,
        "state": row.state,
        "reviewed_by": None if review is None else review.by,
        "reviewed_at": None if review is None else review.at,
        "reason": None if review is None else review.reason,
        "origin": row.origin,
        "strength": row.strength,
        "gauge_id": row.gauge_id,
        "by": row.by,
        "at": row.at,
        "note": row.note,
    }
    if not row.quantities:
        yield same
    for name, quantity in row.quantities.items():
        if isinstance(quantity, Measured):
            value: dict[str, Any] = {
                "value": quantity.value,
                "u_k1": quantity.u,
                "expanded_uncertainty_k1.96": COVERAGE_FACTOR_95 * quantity.u,
            }
        else:
            value = {"not_measured_because": quantity.reason or "no reason given"}
        yield {**same, "quantity": name, "unit": quantity.unit, **value}
