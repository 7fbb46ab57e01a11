"""Documents kept in versions: graded photos, answers, scales of grades, studies, checks.

Nothing is ever changed or taken out: a correction is a further version.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import func, select

from damagescore.errors import RecordError
from damagescore.inspection.checks import now_utc
from damagescore.inspection.seal import sorted_json
from damagescore.records.store import Store
from damagescore.records.tables import DocumentRow

Kind = Literal[
    "library_photo", "grade_scale", "practice_answer", "crossed_study", "detection_study",
    "target_check", "target_rule", "agreement_study",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """One version of a document as plain data."""

    id: str
    version: int
    at: str
    body: Mapping[str, Any]


class DocumentShelf:
    """Documents in the database of a store.

    Parameters
    ----------
    store : Store
        Its connections serve these too; they end when it is closed.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    def add(self, kind: Kind, id_: str, body: Mapping[str, Any], *, version: int = 1) -> None:
        """Keep one version of a document.

        Parameters
        ----------
        kind : str
        id_ : str
        body : mapping
            JSON data.
        version : int
            The one after the newest: 1 for a new document.

        Raises
        ------
        RecordError
            When that version is there already, or the one before it is not.
        """
        with self._store.writing() as session:
            newest = session.scalar(
                select(func.max(DocumentRow.version)).where(
                    DocumentRow.kind == kind, DocumentRow.id == id_
                )
            )
            if version != (newest or 0) + 1:
                raise RecordError(
                    f"Version {version} of {id_[:80]!r} cannot be kept: the newest one is "
                    f"{newest or 0}.",
                    remedy="Look at what is shown now and repeat your last change.",
                )
            session.add(
                DocumentRow(
                    kind=kind, id=id_, version=version, at=now_utc(), body=sorted_json(body)
                )
            )

    def newest(self, kind: Kind) -> tuple[Document, ...]:
        """Give the newest version of each document of a kind, last kept first."""
        last = (
            select(DocumentRow.id, func.max(DocumentRow.version).label("version"))
            .where(DocumentRow.kind == kind)
            .group_by(DocumentRow.id)
            .subquery()
        )
        query = (
            select(DocumentRow)
            .join(last, (DocumentRow.id == last.c.id) & (DocumentRow.version == last.c.version))
            .where(DocumentRow.kind == kind)
            .order_by(DocumentRow.at.desc(), DocumentRow.id)
        )
        with self._store.reading() as session:
            return tuple(_document(row) for row in session.scalars(query))

    def versions(self, kind: Kind, id_: str | None = None) -> tuple[Document, ...]:
        """Give all versions of one document, or of all of a kind, oldest first."""
        query = select(DocumentRow).where(DocumentRow.kind == kind)
        if id_ is not None:
            query = query.where(DocumentRow.id == id_)
        query = query.order_by(DocumentRow.at, DocumentRow.id, DocumentRow.version)
        with self._store.reading() as session:
            return tuple(_document(row) for row in session.scalars(query))


def _document(row: DocumentRow) -> Document:
    return Document(id=row.id, version=row.version, at=row.at, body=json.loads(row.body))
