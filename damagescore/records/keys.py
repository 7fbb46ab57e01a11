"""The inspectors' keys: the public ones in the database, the private ones locked in files."""

import os
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from damagescore.errors import RecordError
from damagescore.inspection.checks import name_of, now_utc
from damagescore.inspection.seal import SigningKey, locked, new_key, unlocked
from damagescore.records.audit import note
from damagescore.records.store import Store
from damagescore.records.tables import KeyRow


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectorKey:
    """A key that is known: its public half, and whose it is."""

    public_key: str
    name: str
    authorisation: str
    made_at: str


def make_key(store: Store, *, name: str, authorisation: str, passphrase: str) -> InspectorKey:
    """Make an inspector's key; the private half is kept in `keys/`, locked.

    Raises
    ------
    RecordError
        When the name or authorisation is empty, the passphrase is too short, or the
        file cannot be written.
    """
    key = new_key()
    made = InspectorKey(
        public_key=key.public_key,
        name=name_of(name, "The name", needed=True),
        authorisation=name_of(authorisation, "The authorisation number", needed=True),
        made_at=now_utc(),
    )
    _write(key_path(store, key.public_key), locked(key, passphrase))
    with store.writing() as session:
        session.add(
            KeyRow(public_key=made.public_key, name=made.name,
                   authorisation=made.authorisation, made_at=made.made_at)
        )  # fmt: skip
        note(session, "make key", by=made.name, target=made.public_key)
    return made


def keys_of(store: Store, name: str | None = None) -> list[InspectorKey]:
    """List the keys of an inspector, or of all; the newest first."""
    query = select(KeyRow).order_by(KeyRow.made_at.desc(), KeyRow.public_key)
    if name is not None:
        query = query.where(KeyRow.name == name)
    with store.reading() as session:
        return [
            InspectorKey(public_key=row.public_key, name=row.name,
                         authorisation=row.authorisation, made_at=row.made_at)
            for row in session.scalars(query)
        ]  # fmt: skip


def unlock_key(store: Store, public_key: str, passphrase: str) -> SigningKey:
    """Give the private key of a public one, for one signature.

    Raises
    ------
    RecordError
        When its file is missing or another one, or the passphrase is wrong.
    """
    path = key_path(store, public_key)
    try:
        key = unlocked(path.read_bytes(), passphrase)
    except OSError as fault:
        raise RecordError(
            f"The key file {path} cannot be read: {fault.strerror or fault}.",
            remedy="Restore it from a backup, make a new key, or sign by name only.",
        ) from fault
    if key.public_key != public_key:
        raise RecordError(
            f"The file {path} holds another key than its name says.",
            remedy="Restore it from a backup, or make a new key.",
        )
    return key


def key_path(store: Store, public_key: str) -> Path:
    """File of a private key."""
    return store.folder / "keys" / f"{public_key}.pem"


def _write(path: Path, pem: bytes) -> None:
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(pem)
            file.flush()
            os.fsync(file.fileno())
    except OSError as fault:
        raise RecordError(
            f"The key cannot be written to {path.parent}: {fault.strerror or fault}.",
            remedy="Check the folder's permissions and free space.",
        ) from fault
