"""One whole record as a file that can be checked elsewhere, without the database."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select

from damagescore import __version__
from damagescore.errors import RecordError
from damagescore.inspection.checks import now_utc
from damagescore.records.audit import note
from damagescore.records.store import Store
from damagescore.records.tables import ChainRow, InspectionRow, KeyRow
from damagescore.records.zips import ZipMaker, making

SCHEMA = "damagescore/archive/1"

READ_ME = """This file holds one inspection record of damagescore.

record.json  the record as it was signed, JSON by RFC 8785
photos/      the photos, each named by the SHA-256 of its bytes
limits.json  the limit set that the record was compared with, as it also stands in the record
links.json   the record's link in the chain of signed records, and all links after it
keys.json    the public key of the signer
papers/      report and overlays, for reading; they follow from the record
archive.json the SHA-256 of each of these files

To check it:            python -m damagescore verify THIS_FILE
To check it without:
1. SHA-256 of record.json = body_sha256 of its link in links.json.
2. link_sha256 = SHA-256 of ["position","inspection_id","body_sha256","previous_sha256"],
   written as a JSON list of these values without blanks; each link's previous_sha256 is
   the link_sha256 before it. The last one can be compared with one that was kept elsewhere.
3. In record.json make content_sha256 and ed25519 of the signature empty texts, and write it
   by RFC 8785: content_sha256 is the SHA-256 of that, ed25519 its Ed25519 seal (RFC 8032).
4. photos/NAME has the SHA-256 NAME.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A record as it stands in the database, with what vouches for it."""

    body: str
    links: tuple[dict[str, Any], ...]
    keys: tuple[dict[str, Any], ...]


def write_archive(
    store: Store, inspection_id: str, out: Path, *, by: str, papers: Mapping[str, bytes]
) -> str:
    """Write the archive of a record; return the SHA-256 of the file.

    Parameters
    ----------
    store : Store
    inspection_id : str
    out : Path
        A file of that name is replaced once the new one is whole.
    by : str
        Who asks for it, for the audit log.
    papers : mapping of str to bytes
        Report and overlays by file name.

    Raises
    ------
    RecordError
        When there is no such record, a photo is missing or altered, or the file cannot
        be written.
    """
    kept = _kept(store, inspection_id)
    plain = json.loads(kept.body)
    with making(out) as made:
        made.add("README.txt", READ_ME.encode())
        made.add("record.json", kept.body.encode())
        made.add("limits.json", _json(plain["limit_set"]))
        made.add("links.json", _json(kept.links))
        made.add("keys.json", _json(kept.keys))
        for sha256 in dict.fromkeys(p["sha256"] for p in plain["photos"]):
            made.add(f"photos/{sha256}", store.photo_bytes(sha256), packed=False)
        for name, data in papers.items():
            made.add(f"papers/{name}", data)
        _add_list(made, inspection_id)
    sha256 = hashlib.sha256(out.read_bytes()).hexdigest()
    with store.writing() as session:
        note(session, "archive", by=by, target=inspection_id, detail=f"SHA-256 {sha256}")
    return sha256


def _add_list(made: ZipMaker, inspection_id: str) -> None:
    listed = {
        "schema": SCHEMA, "record": inspection_id, "made_at": now_utc(),
        "software": f"damagescore {__version__}", "files": dict(made.files),
    }  # fmt: skip
    made.add("archive.json", _json(listed))


def _kept(store: Store, inspection_id: str) -> Kept:
    with store.reading() as session:
        row = session.get(InspectionRow, inspection_id)
        if row is None:
            raise RecordError(
                f"There is no record {inspection_id[:80]!r}.",
                remedy="List the records to find its id.",
            )
        own = select(ChainRow.position).where(ChainRow.inspection_id == row.id)
        links = select(ChainRow).where(ChainRow.position >= own.scalar_subquery())
        key = (json.loads(row.body)["signature"] or {}).get("public_key", "")
        keys = select(KeyRow).where(KeyRow.public_key == key)
        return Kept(
            body=row.body,
            links=tuple(map(_plain_row, session.scalars(links.order_by(ChainRow.position)))),
            keys=tuple(map(_plain_row, session.scalars(keys))),
        )


def _plain_row(row: ChainRow | KeyRow) -> dict[str, Any]:
    return {column.key: getattr(row, column.key) for column in row.__table__.columns}


def _json(plain: Any) -> bytes:
    return (json.dumps(plain, ensure_ascii=False, indent=1) + "\n").encode()
