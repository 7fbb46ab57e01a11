"""Records past the period that they are kept, and taking them out once they are archived."""

import hashlib
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from damagescore.errors import RecordError
from damagescore.inspection.checks import name_of, now_utc
from damagescore.records.archive_check import check_archive
from damagescore.records.audit import note
from damagescore.records.projection import drop_index
from damagescore.records.search import Summary, summaries_of
from damagescore.records.store import Store
from damagescore.records.tables import DisposalRow, IndexRow, InspectionRow, WordRow


def past_period(store: Store, *, years: int, now: datetime | None = None) -> list[Summary]:
    """List the records that were signed, or last saved unsigned, more than `years` ago."""
    if years < 1:
        raise RecordError(f"The period is {years} years.", remedy="Give 1 or more.")
    before = _years_before(now or datetime.now(UTC), years)
    signed = IndexRow.signed & (IndexRow.signed_at < before)
    unsigned = ~IndexRow.signed & (InspectionRow.saved_at < before)
    query = (
        select(IndexRow.inspection_id)
        .join(InspectionRow, InspectionRow.id == IndexRow.inspection_id)
        .where(signed | unsigned)
        .order_by(IndexRow.created_at)
    )
    with store.reading() as session:
        return summaries_of(session, list(session.scalars(query)))


def dispose(
    store: Store,
    inspection_id: str,
    *,
    years: int,
    by: str,
    archive: Path | None = None,
    now: datetime | None = None,
) -> None:
    """Take a record and the photos that only it has out of the store.

    The chain keeps the record's link, and a note keeps the SHA-256 of its archive.

    Parameters
    ----------
    store : Store
    inspection_id : str
    years : int
        The period that records are kept.
    by : str
        Who does it.
    archive : Path or None
        The record's archive; needed for a signed one.

    Raises
    ------
    RecordError
        When the record is not past the period, is superseded by one that is kept, or is
        signed and the archive is missing, does not hold, or holds another record.
    """
    who = name_of(by, "The name", needed=True)
    if inspection_id not in [s.id for s in past_period(store, years=years, now=now)]:
        raise RecordError(
            f"Record {inspection_id[:80]} is not here, or not past the {years} years.",
            remedy="List the records past the period first.",
        )
    photos = _photos(store, inspection_id)
    with store.writing() as session:
        _check_last(session, inspection_id)
        row = session.get_one(InspectionRow, inspection_id)
        detail = "a draft"
        if row.signed:
            sha256 = _archive_sha256(row, archive)
            detail = f"archive {sha256}"
            session.add(
                DisposalRow(inspection_id=row.id, at=now_utc(), by_name=who,
                            reason=f"past {years} years", archive_sha256=sha256)
            )  # fmt: skip
            session.flush()
        note(session, "dispose", by=who, target=inspection_id, detail=detail)
        drop_index(session, inspection_id)
        session.execute(delete(InspectionRow).where(InspectionRow.id == inspection_id))
    for sha256 in photos:
        if not _is_named(store, sha256):
            store.drop_photo(sha256)


def _years_before(now: datetime, years: int) -> str:
    try:
        then = now.replace(year=now.year - years)
    except ValueError:  # 29 February
        then = now.replace(year=now.year - years, day=28)
    return then.astimezone(UTC).isoformat(timespec="seconds")


def _check_last(session: Session, inspection_id: str) -> None:
    query = select(InspectionRow.id).where(InspectionRow.supersedes == inspection_id)
    after = session.scalar(query)
    if after is not None:
        raise RecordError(
            f"Record {inspection_id} is superseded by {after}, which is kept.",
            remedy=f"Take out {after} first, once it is past the period.",
        )


def _archive_sha256(row: InspectionRow, archive: Path | None) -> str:
    if archive is None:
        raise RecordError(
            f"Record {row.id} is signed; without an archive of it, it is not taken out.",
            remedy="Write its archive, keep it in a safe place, and give it here.",
        )
    found = check_archive(archive)
    if found.problems:
        raise RecordError(
            f"The archive {archive} does not hold: {found.problems[0]}",
            remedy="Write the archive again.",
        )
    if found.body != row.body:
        raise RecordError(
            f"The archive {archive} does not hold record {row.id} as it is here, but "
            f"{found.record_id}.",
            remedy="Give the archive of this record.",
        )
    return hashlib.sha256(archive.read_bytes()).hexdigest()


def _photos(store: Store, inspection_id: str) -> list[str]:
    query = select(WordRow.value).where(
        WordRow.field == "photo", WordRow.inspection_id == inspection_id
    )
    with store.reading() as session:
        return list(session.scalars(query))


def _is_named(store: Store, sha256: str) -> bool:
    query = select(WordRow.value).where(WordRow.field == "photo", WordRow.value == sha256)
    with store.reading() as session:
        return session.scalar(query.limit(1)) is not None
