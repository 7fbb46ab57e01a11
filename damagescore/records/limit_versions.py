"""Versions of limit sets in the store."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from damagescore.errors import RecordError
from damagescore.inspection.checks import now_utc
from damagescore.inspection.seal import sorted_json
from damagescore.limits import LimitSet
from damagescore.records.audit import note
from damagescore.records.tables import LimitSetRow


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitSetSummary:
    """One saved version of a limit set in a list."""

    title: str
    revision: str
    version: int
    saved_at: str
    invented: bool
    source_document: str


def add_version(session: Session, limit_set: LimitSet, *, by: str) -> int:
    """Add a version, unless the newest one says the same; return its number."""
    body = sorted_json(limit_set.to_dict())
    newest: LimitSetRow | None = session.scalar(
        _versions(limit_set.title, limit_set.revision).limit(1)
    )
    if newest is not None and newest.body == body:
        return newest.version
    version = 1 if newest is None else newest.version + 1
    session.add(
        LimitSetRow(
            title=limit_set.title,
            revision=limit_set.revision,
            version=version,
            saved_at=now_utc(),
            invented=limit_set.invented,
            source_document=limit_set.source_document,
            body=body,
        )
    )
    target = f"{limit_set.title}, revision {limit_set.revision}"
    note(session, "save limit set", by=by, target=target, detail=f"version {version}")
    return version


def newest_versions(session: Session) -> list[LimitSetSummary]:
    """Give the newest version of each title and revision, last saved first."""
    newest = (
        select(
            LimitSetRow.title, LimitSetRow.revision, func.max(LimitSetRow.version).label("v")
        )
        .group_by(LimitSetRow.title, LimitSetRow.revision)
        .subquery()
    )
    rows = session.scalars(
        select(LimitSetRow)
        .join(
            newest,
            (LimitSetRow.title == newest.c.title)
            & (LimitSetRow.revision == newest.c.revision)
            & (LimitSetRow.version == newest.c.v),
        )
        .order_by(LimitSetRow.saved_at.desc(), LimitSetRow.title, LimitSetRow.revision)
    )
    return [_summary(row) for row in rows]


def version_body(session: Session, title: str, *, revision: str, version: int | None) -> str:
    """JSON of one version; the newest when none is named.

    Raises
    ------
    RecordError
        When there is no such limit set.
    """
    query = _versions(title, revision)
    if version is not None:
        query = query.where(LimitSetRow.version == version)
    row: LimitSetRow | None = session.scalar(query.limit(1))
    if row is None:
        which = "" if version is None else f", version {version}"
        raise RecordError(
            f"There is no limit set {title!r}, revision {revision!r}{which}.",
            remedy="Choose one from the list of limit sets, or load its file again.",
        )
    return row.body


def _versions(title: str, revision: str) -> Select[Any]:
    return (
        select(LimitSetRow)
        .where(LimitSetRow.title == title, LimitSetRow.revision == revision)
        .order_by(LimitSetRow.version.desc())
    )


def _summary(row: LimitSetRow) -> LimitSetSummary:
    return LimitSetSummary(
        title=row.title,
        revision=row.revision,
        version=row.version,
        saved_at=row.saved_at,
        invented=row.invented,
        source_document=row.source_document,
    )
