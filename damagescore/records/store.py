"""The store of inspections, photos and limit sets in one data folder."""

import json
import os
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Engine, select, update
from sqlalchemy.orm import Session, defer

from damagescore.errors import RecordError
from damagescore.inspection import inspection_from_dict, inspection_to_dict
from damagescore.inspection.checks import now_utc
from damagescore.inspection.record import Inspection
from damagescore.inspection.seal import faults_of_seal
from damagescore.limits import LimitSet
from damagescore.records import chain
from damagescore.records.audit import Action, AuditEntry, entries, note
from damagescore.records.body import BodyWriter
from damagescore.records.database import open_database, reading, writing
from damagescore.records.limit_versions import (
    LimitSetSummary,
    add_version,
    newest_versions,
    version_body,
)
from damagescore.records.projection import index_is_current, rebuild_index, write_index
from damagescore.records.search import Filters, Found, Summary, find_records, summaries_of
from damagescore.records.tables import InspectionRow
from damagescore.records.vault import vault_at
from damagescore.records.verification import Verification, examine


class Store:
    """Inspections, photos and limit sets, kept for good.

    One store may be shared by threads; several programs may open the same folder.

    Parameters
    ----------
    folder : Path
        Made when missing. Holds `photos/`, and `records.sqlite` unless `url` is given.
    url : str or None
        Address of another database, for instance "postgresql://host/name".

    photos : str or None
        Address of another place for photos that fsspec reaches, "s3://bucket/photos".

    Raises
    ------
    RecordError
        When the folder cannot be written, the file is not a database, or its tables
        are newer than the program.
    """

    def __init__(
        self, folder: Path, *, url: str | None = None, photos: str | None = None
    ) -> None:
        self.folder = Path(folder)
        _make(self.folder)
        self._vault = vault_at(photos or str(self.folder / "photos"))
        self.url = url or embedded_url(self.folder)
        self.engine: Engine = open_database(self.url)
        self._bodies = BodyWriter()
        with self.reading() as session:
            current = index_is_current(session)
        if not current:
            self.rebuild_index()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database; the store is not used after this."""
        self.engine.dispose()

    def save(self, inspection: Inspection, *, expected_revision: int | None = None) -> int:
        """Store the inspection durably and return its new revision.

        Without `expected_revision` the edit list decides: a stored edit that the
        given inspection does not know means that someone else saved in between.

        Parameters
        ----------
        inspection : Inspection
        expected_revision : int or None
            Revision that the changes were made on; 0 for a new record.

        Raises
        ------
        RecordError
            When the stored record is signed, someone else saved a newer one, the
            superseded record is unknown or unsigned, a signed record lacks a photo or
            was changed after signing, or the database fails.
        """
        body = self._bodies.write(inspection)
        if inspection.signature is not None:
            self._check_signed(inspection)
        with self.writing() as session:
            # The text, which is long, is read only where it is looked at.
            row = session.get(InspectionRow, inspection.id, options=[defer(InspectionRow.body)])
            if row is not None and row.signed:
                return _same_or_refused(row, body)
            _check_revision(row, inspection.id, body=body, expected=expected_revision)
            if row is None:
                _check_superseded(session, inspection)
                row = InspectionRow(revision=1, **_columns(inspection, body))
                session.add(row)
                _note_superseding(session, inspection)
            else:
                row = _changed(session, row, inspection, body=body)
            session.flush()
            write_index(session, inspection)
            if inspection.signature is not None:
                chain.append_link(session, row)
                _note_signing(session, inspection)
            return row.revision

    def load(self, inspection_id: str) -> Inspection:
        """Give a stored inspection; RecordError when there is none of that id."""
        with self.reading() as session:
            body = _row(session, inspection_id).body
        return inspection_from_dict(json.loads(body))

    def revision(self, inspection_id: str) -> int:
        """Number of times the record was saved; 0 when there is none."""
        with self.reading() as session:
            query = select(InspectionRow.revision).where(InspectionRow.id == inspection_id)
            return session.scalar(query) or 0

    def search(
        self,
        text: str = "",
        *,
        outcome: str | None = None,
        signed: bool | None = None,
        limit: int = 200,
    ) -> list[Summary]:
        """List records, newest first.

        Parameters
        ----------
        text : str
            Words that must all occur in the part number, serial number, work order,
            description, position, id or an inspector's name; case does not matter.
        outcome : str or None
            Only records with this outcome.
        signed : bool or None
            Only signed (True) or unsigned (False) records.
        limit : int
            At most this many.
        """
        filters = Filters(text=text, outcome=outcome, signed=signed)
        return list(self.find(filters, limit=limit).records)

    def find(self, filters: Filters, *, limit: int = 200, offset: int = 0) -> Found:
        """Give one page of the records that the filters let through, newest first."""
        with self.reading() as session:
            return find_records(session, filters, limit=limit, offset=offset)

    def history(self, inspection_id: str) -> list[Summary]:
        """List the record with all it superseded and all that superseded it, oldest first."""
        with self.reading() as session:
            first = inspection_id
            while (before := _row(session, first).supersedes) is not None:
                first = before
            ids: list[str] = []
            following: str | None = first
            while following is not None:
                ids.append(following)
                query = select(InspectionRow.id).where(InspectionRow.supersedes == following)
                following = session.scalar(query)
            return summaries_of(session, ids)

    def rebuild_index(self) -> int:
        """Make what the records are searched by anew from the records; return their number."""
        with self.writing() as session:
            return rebuild_index(session)

    def put_photo(self, data: bytes) -> str:
        """Keep a photo file's bytes unchanged; return their SHA-256."""
        return self._vault.put(data)

    def photo_bytes(self, sha256: str) -> bytes:
        """Give a photo's bytes, checked; RecordError when altered or missing."""
        return self._vault.read(sha256)

    def photo_keys(self) -> list[str]:
        """List the SHA-256 of all photos that are kept."""
        return self._vault.keys()

    def drop_photo(self, sha256: str) -> None:
        """Take a photo out; only for one that no record names any more."""
        self._vault.drop(sha256)

    def save_limit_set(self, limit_set: LimitSet, *, by: str = "") -> int:
        """Keep a limit set; return its version under this title and revision."""
        with self.writing() as session:
            return add_version(session, limit_set, by=by)

    def limit_sets(self) -> list[LimitSetSummary]:
        """List the newest version of each title and revision, last saved first."""
        with self.reading() as session:
            return newest_versions(session)

    def load_limit_set(
        self, title: str, revision: str, *, version: int | None = None
    ) -> LimitSet:
        """Give a stored limit set, the newest version unless one is named."""
        with self.reading() as session:
            body = version_body(session, title, revision=revision, version=version)
        return LimitSet.from_dict(json.loads(body))

    def chain_head(self) -> str:
        """Hash that vouches for all signed records so far; keep it elsewhere to be sure."""
        with self.reading() as session:
            return chain.head(session)

    def verify(self, *, photos: bool = True) -> list[str]:
        """Check the signed records, and their photos; list what is wrong."""
        return list(self.examine(photos=photos).problems)

    def examine(self, *, photos: bool = True) -> Verification:
        """Check all signed records, and say what is wrong and what has to be known."""
        with self.reading() as session:
            return examine(session, self.photo_bytes if photos else None)

    def note(self, action: Action, *, by: str, target: str, detail: str = "") -> None:
        """Add an entry to the audit log."""
        with self.writing() as session:
            note(session, action, by=by, target=target, detail=detail)

    def audit_log(self, *, target: str | None = None, limit: int = 200) -> list[AuditEntry]:
        """Give the newest entries of the audit log, newest first."""
        with self.reading() as session:
            return entries(session, target=target, limit=limit)

    def reading(self) -> AbstractContextManager[Session]:
        """Give a session that only reads; for the modules of this room."""
        return reading(self.engine)

    def writing(self) -> AbstractContextManager[Session]:
        """Give a session whose changes are all stored at the end, or none of them."""
        return writing(self.engine)

    def _check_signed(self, inspection: Inspection) -> None:
        """Refuse a signed record that was changed, or whose photos are not at hand."""
        for fault in faults_of_seal(inspection_to_dict(inspection)):
            raise RecordError(
                f"Record {inspection.id} was changed after it was signed: {fault}.",
                remedy="Load the record again and sign it as it is.",
            )
        for entry in inspection.photos:
            self._vault.read(entry.sha256)


def embedded_url(folder: Path) -> str:
    """Address of the database that a data folder holds."""
    return f"sqlite:///{(folder / 'records.sqlite').resolve().as_posix()}"


def open_store(folder: Path) -> Store:
    """Open the store of a data folder.

    DAMAGESCORE_DATABASE names another database, DAMAGESCORE_PHOTOS another place for photos.
    """
    return Store(
        folder,
        url=os.environ.get("DAMAGESCORE_DATABASE") or None,
        photos=os.environ.get("DAMAGESCORE_PHOTOS") or None,
    )


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise RecordError(
            f"The data folder {folder} cannot be made: {fault.strerror or fault}.",
            remedy="Check its permissions, or choose another data folder.",
        ) from fault


def _row(session: Session, inspection_id: str) -> InspectionRow:
    row = session.get(InspectionRow, inspection_id)
    if row is None:
        raise RecordError(
            f"There is no record {inspection_id[:80]!r}.",
            remedy="Search for it by part number, serial number or work order.",
        )
    return row


def _columns(inspection: Inspection, body: str) -> dict[str, Any]:
    signature = inspection.signature
    return {
        "id": inspection.id,
        "created_at": inspection.created_at,
        "saved_at": now_utc(),
        "signed": signature is not None,
        "signed_at": None if signature is None else signature.at,
        "supersedes": inspection.supersedes,
        "body": body,
    }


def _note_signing(session: Session, inspection: Inspection) -> None:
    signature = inspection.signature
    assert signature is not None
    how = "with a key" if signature.public_key else "by name only"
    note(session, "sign", by=signature.name, target=inspection.id,
         detail=f"{signature.disposition}, {how}")  # fmt: skip


def _note_superseding(session: Session, inspection: Inspection) -> None:
    if inspection.supersedes is not None:
        by = inspection.edits[0].by if inspection.edits else ""
        note(session, "supersede", by=by, target=inspection.supersedes,
             detail=f"by {inspection.id}: {inspection.supersede_reason}")  # fmt: skip


def _same_or_refused(row: InspectionRow, body: str) -> int:
    if row.body == body:
        return row.revision
    raise RecordError(
        f"Record {row.id} was signed on {row.signed_at} and cannot be changed.",
        remedy="Make a new record that supersedes it, with the reason.",
    )


def _check_revision(
    row: InspectionRow | None, inspection_id: str, *, body: str, expected: int | None
) -> None:
    stored = 0 if row is None else row.revision
    if expected is not None and expected != stored:
        raise _newer(inspection_id, f"it is at revision {stored}, not {expected}")
    if expected is None and row is not None:
        kept = json.loads(row.body)["edits"]
        if json.loads(body)["edits"][: len(kept)] != kept:
            raise _newer(inspection_id, "it holds an edit that this one does not have")


def _newer(inspection_id: str, how: str) -> RecordError:
    return RecordError(
        f"Record {inspection_id} was changed by someone else meanwhile: {how}.",
        remedy="Load the record again and repeat your last change.",
    )


def _check_superseded(session: Session, inspection: Inspection) -> None:
    if inspection.supersedes is None:
        return
    old = _row(session, inspection.supersedes)
    if not old.signed:
        raise RecordError(
            f"Record {old.id} is not signed, so there is nothing to supersede.",
            remedy="Change that record itself.",
        )
    query = select(InspectionRow.id).where(InspectionRow.supersedes == old.id)
    other = session.scalar(query)
    if other is not None:
        raise RecordError(
            f"Record {old.id} is already superseded by {other}.",
            remedy=f"Go on with {other}.",
        )


def _changed(
    session: Session, row: InspectionRow, inspection: Inspection, *, body: str
) -> InspectionRow:
    if row.supersedes != inspection.supersedes:
        raise RecordError(
            f"Record {row.id} supersedes {row.supersedes}, which cannot be changed to "
            f"{inspection.supersedes}.",
            remedy="Make a new record for that.",
        )
    columns = _columns(inspection, body)
    del columns["id"]  # a key that is written is looked up and checked anew
    # The condition holds on databases too where two writers may pass the check above.
    done = session.execute(
        update(InspectionRow)
        .where(
            InspectionRow.id == row.id,
            InspectionRow.revision == row.revision,
            InspectionRow.signed.is_(False),
        )
        .values(revision=row.revision + 1, **columns)
        .execution_options(synchronize_session=False)
        .returning(InspectionRow.revision)
    ).all()
    if not done:
        raise _newer(inspection.id, "it was saved in the same moment")
    session.expire(row, ["body"])  # read anew where it is asked for
    session.refresh(row, ["revision", *(name for name in columns if name != "body")])
    return row
