"""The audit log: who did what, when; entries are added, never changed."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

from damagescore.inspection.checks import now_utc
from damagescore.inspection.seal import sorted_json
from damagescore.records.chain import GENESIS, sha256_of
from damagescore.records.database import lock_writers
from damagescore.records.tables import AuditRow

Action = Literal[
    "sign", "supersede", "export", "archive", "dispose", "backup", "restore", "make key",
    "save limit set", "settings", "sign in", "sign out", "failed sign-in", "account",
    "role",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditEntry:
    """One line of the log; `target` is what it was done to. `at` is ISO 8601 UTC."""

    number: int
    at: str
    by: str
    action: str
    target: str
    detail: str


def note(session: Session, action: Action, *, by: str, target: str, detail: str = "") -> None:
    """Add an entry, in the transaction of what it tells of."""
    lock_writers(session)
    last = session.scalar(select(AuditRow).order_by(AuditRow.number.desc()).limit(1))
    row = AuditRow(
        number=1 if last is None else last.number + 1,
        at=now_utc(), by_name=by, action=action, target=target, detail=detail,
        previous_sha256=GENESIS if last is None else last.entry_sha256,
    )  # fmt: skip
    row.entry_sha256 = _hash_of(row)
    session.add(row)
    session.flush()


def entries(session: Session, *, target: str | None, limit: int) -> list[AuditEntry]:
    """Give the newest entries, newest first."""
    query = select(AuditRow).order_by(AuditRow.number.desc()).limit(limit)
    if target is not None:
        query = query.where(AuditRow.target == target)
    return [
        AuditEntry(
            number=row.number, at=row.at, by=row.by_name, action=row.action,
            target=row.target, detail=row.detail,
        )
        for row in session.scalars(query)
    ]  # fmt: skip


def faults_of_audit(session: Session) -> Iterator[str]:
    """Say where entries are missing or were altered."""
    previous, number = GENESIS, 0
    for row in session.scalars(select(AuditRow).order_by(AuditRow.number)).yield_per(500):
        number += 1
        if row.number != number or row.previous_sha256 != previous:
            yield f"An entry is missing before number {row.number} of the audit log."
            number = row.number
        if row.entry_sha256 != _hash_of(row):
            what = f"{row.action} {row.target}"
            yield f"Entry {row.number} of the audit log was altered ({what})."
        previous = row.entry_sha256


def _hash_of(row: AuditRow) -> str:
    said = (row.number, row.at, row.by_name, row.action, row.target, row.detail)
    return sha256_of(sorted_json([*said, row.previous_sha256]))
