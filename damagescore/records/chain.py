"""The hash chain over signed records: a change to any of them shows.

The chain shows changed, missing and reordered records. Whoever may write the whole file
can still build a new chain; the last link, printed in each report or kept elsewhere,
shows that too, and so do the seals of the inspectors' keys.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from damagescore.inspection.canonical import canonical_json
from damagescore.inspection.seal import sorted_json
from damagescore.records.database import lock_writers
from damagescore.records.tables import ChainRow, InspectionRow, SectionsRow

GENESIS = "0" * 64
"""What stands before the first link."""

SHORT = 16
"""Digits kept of the hash of a part of a record: it names what differs, the link proves."""


def sha256_of(text: str) -> str:
    """SHA-256 of the text's UTF-8 bytes, hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def link_of(*, position: int, inspection_id: str, body_sha256: str, previous: str) -> str:
    """Hash of one link."""
    return sha256_of(sorted_json([position, inspection_id, body_sha256, previous]))


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
    hashes = canonical_json(section_hashes(json.loads(row.body)))
    session.add(SectionsRow(inspection_id=row.id, hashes=hashes))


def head(session: Session) -> str:
    """Hash of the last link; it vouches for all before it."""
    last = select(ChainRow.link_sha256).order_by(ChainRow.position.desc()).limit(1)
    return session.scalar(last) or GENESIS


def faults_of_links(links: Iterable[ChainRow]) -> Iterator[str]:
    """Say where links do not follow from each other."""
    previous = GENESIS
    position = 0
    for link in links:
        if link.position != position + 1:
            yield f"A link is missing before position {link.position}."
        position = link.position
        if link.previous_sha256 != previous:
            yield f"Link {link.position} does not follow from the one before it."
        if not link_holds(link):
            yield f"Link {link.position} was altered."
        previous = link.link_sha256


def link_holds(link: ChainRow) -> bool:
    """Whether a link has the hash of what it says."""
    return link.link_sha256 == link_of(
        position=link.position,
        inspection_id=link.inspection_id,
        body_sha256=link.body_sha256,
        previous=link.previous_sha256,
    )


def section_hashes(plain: Mapping[str, Any]) -> dict[str, str]:
    """Short hashes of the parts of a record, by the names that a person knows them by."""
    return {name: _short(value) for name, value in _sections(plain)}


def differing_sections(before: str, plain: Mapping[str, Any]) -> list[str]:
    """Names of the parts that are not as they were when their hashes were taken."""
    then, now = json.loads(before), section_hashes(plain)
    return [name for name in {**then, **now} if then.get(name) != now.get(name)]


def _sections(plain: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, value in plain.items():
        words = name.replace("_", " ").removesuffix("s")
        if name in ("part", "signature", "task") and isinstance(value, Mapping):
            yield from ((f"{name} {k.replace('_', ' ')}", v) for k, v in value.items())
        elif name == "photos":
            for number, photo in enumerate(value, start=1):
                yield from ((f"photo {number} {k}", v) for k, v in photo.items())
        elif isinstance(value, list):
            yield from ((f"{words} {n}", v) for n, v in enumerate(value, start=1))
        else:
            yield name.replace("_", " "), value


def _short(value: Any) -> str:
    return sha256_of(sorted_json(value))[:SHORT]
