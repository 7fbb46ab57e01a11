"""Look for any change to what was signed, and name the record and what differs."""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from damagescore.errors import RecordError
from damagescore.inspection.seal import BY_KEY, faults_of_seal
from damagescore.records.audit import faults_of_audit
from damagescore.records.chain import (
    differing_sections,
    faults_of_links,
    head,
    sha256_of,
)
from damagescore.records.projection import index_at_odds
from damagescore.records.tables import (
    ChainRow,
    DisposalRow,
    InspectionRow,
    KeyRow,
    SectionsRow,
)

PhotoReader = Callable[[str], bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What looking at all signed records gave.

    Parameters
    ----------
    problems : tuple of str
        What was changed since signing; empty when nothing was.
    notes : tuple of str
        What is no change but has to be known, such as a clock that ran back.
    n_records, n_sealed : int
        Signed records in the chain, and those of them sealed with a key.
    head : str
        Hash of the last link.
    """

    problems: tuple[str, ...]
    notes: tuple[str, ...]
    n_records: int
    n_sealed: int
    head: str


def examine(session: Session, photo_reader: PhotoReader | None) -> Verification:
    """Check the chain, each signed record with its seal and photos, and the audit log.

    Parameters
    ----------
    session : Session
    photo_reader : callable or None
        Gives a photo's bytes or raises RecordError; None leaves photos out.
    """
    links = session.scalars(select(ChainRow).order_by(ChainRow.position)).all()
    problems = [*faults_of_links(links)]
    n_sealed = 0
    for link in links:
        row = session.get(InspectionRow, link.inspection_id)
        if row is None:
            problems += _missing(session, link.inspection_id)
            continue
        plain = _plain(row.body)
        n_sealed += (plain.get("signature") or {}).get("method") == BY_KEY
        problems += _faults_of_record(session, row, plain, link=link)
        if photo_reader is not None:
            problems += faults_of_photos(plain, photo_reader)
        session.expunge_all()
    problems += _loose(session)
    problems += faults_of_audit(session)
    return Verification(
        problems=tuple(problems),
        notes=tuple(_notes(session)),
        n_records=len(links),
        n_sealed=n_sealed,
        head=head(session),
    )


def faults_of_photos(plain: Mapping[str, Any], photo_reader: PhotoReader) -> Iterator[str]:
    """Say which photos of a record are missing or altered."""
    for number, photo in enumerate(plain.get("photos", ()), start=1):
        try:
            photo_reader(photo["sha256"])
        except RecordError as fault:
            yield f"Record {plain['id']}, photo {number} ({photo['name']}): {fault.message}"


def _plain(body: str) -> dict[str, Any]:
    try:
        plain = json.loads(body)
    except ValueError:
        return {}
    return plain if isinstance(plain, dict) else {}


def _missing(session: Session, inspection_id: str) -> Iterator[str]:
    if session.get(DisposalRow, inspection_id) is None:
        yield f"Signed record {inspection_id} is missing."


def _faults_of_record(
    session: Session, row: InspectionRow, plain: Mapping[str, Any], *, link: ChainRow
) -> Iterator[str]:
    if sha256_of(row.body) != link.body_sha256:
        differs = _what_differs(session, row.id, plain)
        yield f"Signed record {row.id} was altered after signing{differs}."
    elif plain.get("signature"):
        yield from _faults_of_signature(session, plain)
    if not row.signed:
        yield f"Record {row.id} is in the chain but no longer marked as signed."
    yield from index_at_odds(session, row)


def _what_differs(session: Session, inspection_id: str, plain: Mapping[str, Any]) -> str:
    kept = session.get(SectionsRow, inspection_id)
    names = [] if kept is None else differing_sections(kept.hashes, plain)
    return f": what differs is {', '.join(names)}" if names else ""


def _faults_of_signature(session: Session, plain: Mapping[str, Any]) -> Iterator[str]:
    record = f"Signed record {plain['id']}"
    for fault in faults_of_seal(plain):
        yield f"{record}: {fault}."
    signer, key = plain["signature"]["name"], plain["signature"].get("public_key")
    if not key:
        return
    known = session.get(KeyRow, key)
    if known is None:
        yield f"{record} is sealed with the key {key[:12]}…, which is not known here."
    elif known.name != signer:
        yield f"{record} is signed by {signer} with the key of {known.name}."


def _loose(session: Session) -> Iterator[str]:
    linked = select(ChainRow.inspection_id)
    loose = select(InspectionRow.id).where(
        InspectionRow.signed, InspectionRow.id.not_in(linked)
    )
    for name in session.scalars(loose):
        yield f"Record {name} is signed but not in the chain."


def _notes(session: Session) -> Iterator[str]:
    signed = (
        select(ChainRow.position, InspectionRow.signed_at)
        .join(InspectionRow, InspectionRow.id == ChainRow.inspection_id)
        .order_by(ChainRow.position)
    )
    for before, after in pairwise(session.execute(signed).all()):
        if (after.signed_at or "") < (before.signed_at or ""):
            yield (
                f"The clock ran back: link {after.position} was signed at {after.signed_at}, "
                f"after link {before.position} at {before.signed_at}; their order holds."
            )
    for disposal in session.scalars(select(DisposalRow).order_by(DisposalRow.at)):
        yield (
            f"Record {disposal.inspection_id} was disposed of at {disposal.at} by "
            f"{disposal.by_name}; its archive has the SHA-256 {disposal.archive_sha256}."
        )
