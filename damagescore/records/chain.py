"""The hash chain over signed records: a change to any of them shows.

The chain shows changed and missing records. Whoever may write the whole file can
still build a new chain; the last link, printed in each report or kept elsewhere,
shows that too.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from damagescore.records.database import lock_writers
from damagescore.records.tables import ChainRow, InspectionRow

GENESIS = "0" * 64
"""What stands before the first link."""


def canonical(plain: Any) -> str:
    """JSON text that is the same for the same content."""
    return json.dumps(
        plain, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    )


def sha256_of(text: str) -> str:
    """SHA-256 of the text's UTF-8 bytes, hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def link_of(*, position: int, inspection_id: str, body_sha256: str, previous: str) -> str:
    """Hash of one link."""
    return sha256_of(canonical([position, inspection_id, body_sha256, previous]))


def append_link(session: Session, row: InspectionRow) -> None:
    """Add the link of a record that was just signed, after all links so far."""
    lock_writers(session)
    last = session.scalar(select(ChainRow).order_by(ChainRow.position.desc()).limit(1))
    position = 1 if last is None else last.position + 1
    previous = GENESIS if last is None else last.link_sha256
    body_sha256 = sha256_of(row.body)
    session.add(
        ChainRow(
            position=position,
            inspection_id=row.id,
            body_sha256=body_sha256,
            previous_sha256=previous,
            link_sha256=link_of(
                position=position,
                inspection_id=row.id,
                body_sha256=body_sha256,
                previous=previous,
            ),
        )
    )


def head(session: Session) -> str:
    """Hash of the last link; it vouches for all before it."""
    last = select(ChainRow.link_sha256).order_by(ChainRow.position.desc()).limit(1)
    return session.scalar(last) or GENESIS


def problems_of_chain(session: Session) -> list[str]:
    """Check each link, each signed record, and that neither lacks the other."""
    links = session.scalars(select(ChainRow).order_by(ChainRow.position)).all()
    problems = [*_faults_of_links(links)]
    for link in links:
        problems += _faults_of_record(session.get(InspectionRow, link.inspection_id), link)
    linked = select(ChainRow.inspection_id)
    loose = select(InspectionRow.id).where(
        InspectionRow.signed, InspectionRow.id.not_in(linked)
    )
    problems += [f"Record {x} is signed but not in the chain." for x in session.scalars(loose)]
    return problems


def count_of_links(session: Session) -> int:
    """Number of signed records in the chain."""
    return session.scalar(select(func.count()).select_from(ChainRow)) or 0


def _faults_of_links(links: Iterable[ChainRow]) -> Iterator[str]:
    previous = GENESIS
    position = 0
    for link in links:
        if link.position != position + 1:
            yield f"A link is missing before position {link.position}."
        position = link.position
        if link.previous_sha256 != previous:
            yield f"Link {link.position} does not follow from the one before it."
        if link.link_sha256 != link_of(
            position=link.position,
            inspection_id=link.inspection_id,
            body_sha256=link.body_sha256,
            previous=link.previous_sha256,
        ):
            yield f"Link {link.position} was altered."
        previous = link.link_sha256


def _faults_of_record(row: InspectionRow | None, link: ChainRow) -> Iterator[str]:
    if row is None:
        yield f"Signed record {link.inspection_id} is missing."
        return
    if sha256_of(row.body) != link.body_sha256:
        yield f"Signed record {row.id} was altered after signing."
    if not row.signed:
        yield f"Record {row.id} is in the chain but no longer marked as signed."
