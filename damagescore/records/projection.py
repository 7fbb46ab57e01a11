"""What a record is listed and searched by, made from the record alone.

One function makes it, so that the index can be thrown away and made anew; a change here
raises `PROJECTION`, and each store makes its index anew when it is next opened.
"""

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from damagescore.errors import DamageScoreError
from damagescore.inspection import inspection_from_dict, state_of
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.records.database import lock_writers
from damagescore.records.tables import IndexRow, IndexStateRow, InspectionRow, WordRow

PROJECTION = 1
"""Version of what `project` gives."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Projection:
    """One row of the index, and the words beside it.

    Parameters
    ----------
    columns : mapping
        Columns of `IndexRow`.
    words : frozenset of (str, str)
        Fields of which a record has several values, each with one value: kind, layer,
        view, photo, photo_name, hand, gauge, person, action; text is case-folded.
    """

    columns: Mapping[str, Any]
    words: frozenset[tuple[str, str]]


def project(inspection: Inspection) -> Projection:
    """Give what a record is listed and searched by."""
    part, signature = inspection.part, inspection.signature
    assessment, limits = inspection.assessment or {}, inspection.limit_set or {}
    people = list(dict.fromkeys(_people(inspection)))
    words = frozenset(_words(inspection))
    columns = {
        "inspection_id": inspection.id,
        "created_at": inspection.created_at,
        "part_number": part.part_number,
        "serial_number": part.serial_number,
        "description": part.description,
        "position": part.position,
        "work_order": part.work_order,
        "hours": part.hours,
        "cycles": part.cycles,
        "outcome": assessment.get("outcome"),
        "score": _score(assessment),
        "signed": signature is not None,
        "signed_at": None if signature is None else signature.at,
        "signer": None if signature is None else signature.name,
        "disposition": None if signature is None else signature.disposition,
        "limit_title": limits.get("title"),
        "limit_revision": limits.get("revision"),
        "invented": None if inspection.limit_set is None else bool(limits.get("invented")),
        "n_photos": len(inspection.photos),
        "n_findings": sum(1 for entry in inspection.photos for _ in _kept(entry)),
        "inspectors": "\n".join(people),
        "search_text": "\n".join(dict.fromkeys(_texts(inspection, people))).casefold(),
    }
    return Projection(columns=columns, words=words)


def write_index(session: Session, inspection: Inspection) -> None:
    """Bring the index of one record up to date, writing only what differs."""
    made = project(inspection)
    row = session.get(IndexRow, inspection.id)
    if row is None:
        session.add(IndexRow(**made.columns))
    else:
        for name, value in made.columns.items():
            setattr(row, name, value)
    query = select(WordRow).where(WordRow.inspection_id == inspection.id)
    before = {(w.field, w.value): w for w in session.scalars(query)}
    for pair, word in before.items():
        if pair not in made.words:
            session.delete(word)
    for field, value in sorted(made.words - before.keys()):
        session.add(WordRow(inspection_id=inspection.id, field=field, value=value))


def drop_index(session: Session, inspection_id: str) -> None:
    """Take a record out of the index."""
    session.execute(delete(WordRow).where(WordRow.inspection_id == inspection_id))
    session.execute(delete(IndexRow).where(IndexRow.inspection_id == inspection_id))


def index_is_current(session: Session) -> bool:
    """Whether this version of the program made the index."""
    return session.scalar(select(IndexStateRow.version)) == PROJECTION


def rebuild_index(session: Session) -> int:
    """Make the index of all records anew; return how many there are.

    A record that cannot be read is left out here, and `verify` tells of it.
    """
    lock_writers(session)
    for table in (WordRow, IndexRow, IndexStateRow):
        session.execute(delete(table))
    count = 0
    for body in session.scalars(select(InspectionRow.body)).yield_per(50):
        inspection = _readable(body)
        if inspection is None:
            continue
        made = project(inspection)
        session.add(IndexRow(**made.columns))
        session.add_all(
            WordRow(inspection_id=inspection.id, field=field, value=value)
            for field, value in sorted(made.words)
        )
        session.flush()
        session.expunge_all()
        count += 1
    session.add(IndexStateRow(version=PROJECTION))
    return count


def index_at_odds(session: Session, row: InspectionRow) -> list[str]:
    """Tell where a list would show something else than the record itself says."""
    inspection = _readable(row.body)
    if inspection is None:
        return [f"Signed record {row.id} cannot be read any more."]
    shown = session.get(IndexRow, row.id)
    said = project(inspection).columns
    odd = [k for k, v in said.items() if getattr(shown, k, None) != v]
    kept = {"signed": inspection.signature is not None, "supersedes": inspection.supersedes}
    odd += [k for k, v in kept.items() if getattr(row, k) != v and k not in odd]
    return [f"The list shows another {name} for record {row.id} than it holds." for name in odd]


def _readable(body: str) -> Inspection | None:
    try:
        return inspection_from_dict(json.loads(body))
    except (ValueError, DamageScoreError):
        return None


def _kept(entry: PhotoEntry) -> Iterator[Mapping[str, Any]]:
    for finding in entry.measurement.get("findings") or ():
        if state_of(entry, finding["id"]) != "rejected":
            yield finding


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


def _words(inspection: Inspection) -> Iterator[tuple[str, str]]:
    for entry in inspection.photos:
        yield "view", entry.view
        yield "photo", entry.sha256
        yield "photo_name", entry.name.casefold()
        for finding in _kept(entry):
            yield "kind", finding["kind"]
            if finding.get("layer") is not None:
                yield "layer", str(finding["layer"])
    for hand in inspection.hand:
        yield "hand", hand.quantity
        yield "gauge", hand.gauge_id.casefold()
    yield from (("person", name.casefold()) for name in _people(inspection))
    yield from (("action", edit.action) for edit in inspection.edits)


def _texts(inspection: Inspection, people: list[str]) -> Iterator[str]:
    part, signature = inspection.part, inspection.signature
    yield from (
        inspection.id, part.part_number, part.serial_number, part.work_order,
        part.description, part.position, *people, inspection.supersede_reason,
    )  # fmt: skip
    if signature is not None:
        yield from (signature.authorisation, signature.reason)
    limits = inspection.limit_set or {}
    yield from (str(limits.get(k) or "") for k in ("title", "revision", "source_document"))
    yield from (entry.name for entry in inspection.photos)
    yield from (text for hand in inspection.hand for text in (hand.gauge_id, hand.note))
    yield from (edit.reason for edit in inspection.edits)
