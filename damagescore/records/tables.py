"""The tables of the store, as the program reads them; `migrations` makes them."""

from sqlalchemy import Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Base(DeclarativeBase):
    """Base of all tables."""


class SchemaRow(Base):
    """One row for each revision of the tables that was reached."""

    __tablename__ = "damagescore_schema"
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    changed_at: Mapped[str]


class InspectionRow(Base):
    """An inspection: the whole record as JSON."""

    __tablename__ = "inspection"
    id: Mapped[str] = mapped_column(primary_key=True)
    revision: Mapped[int]
    created_at: Mapped[str]
    saved_at: Mapped[str]
    signed: Mapped[bool]
    signed_at: Mapped[str | None]
    supersedes: Mapped[str | None]
    body: Mapped[str] = mapped_column(Text)


class IndexRow(Base):
    """What a record is searched and listed by; made from its body, see `projection`.

    `search_text` is the case-folded text of everything that is searched by words.
    """

    __tablename__ = "record_index"
    inspection_id: Mapped[str] = mapped_column(primary_key=True)
    created_at: Mapped[str]
    part_number: Mapped[str] = mapped_column(Text)
    serial_number: Mapped[str] = mapped_column(Text)
    description: Mapped[str] = mapped_column(Text)
    position: Mapped[str] = mapped_column(Text)
    work_order: Mapped[str] = mapped_column(Text)
    hours: Mapped[float | None]
    cycles: Mapped[float | None]
    outcome: Mapped[str | None]
    score: Mapped[float | None]
    signed: Mapped[bool]
    signed_at: Mapped[str | None]
    signer: Mapped[str | None]
    disposition: Mapped[str | None]
    limit_title: Mapped[str | None]
    limit_revision: Mapped[str | None]
    invented: Mapped[bool | None]
    n_photos: Mapped[int]
    n_findings: Mapped[int]
    inspectors: Mapped[str] = mapped_column(Text)
    search_text: Mapped[str] = mapped_column(Text)


class WordRow(Base):
    """One of several values of a record: a kind of damage, a photo, a gauge, a person."""

    __tablename__ = "record_word"
    inspection_id: Mapped[str] = mapped_column(primary_key=True)
    field: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[str] = mapped_column(primary_key=True)


class IndexStateRow(Base):
    """One row: the version of `projection` that made the index."""

    __tablename__ = "record_index_state"
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)


class ChainRow(Base):
    """One link per signed record, in the order of signing."""

    __tablename__ = "signed_chain"
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    inspection_id: Mapped[str]
    body_sha256: Mapped[str]
    previous_sha256: Mapped[str]
    link_sha256: Mapped[str]


class SectionsRow(Base):
    """Short hashes of the parts of a signed record, to name a part that was altered."""

    __tablename__ = "signed_sections"
    inspection_id: Mapped[str] = mapped_column(primary_key=True)
    hashes: Mapped[str] = mapped_column(Text)


class KeyRow(Base):
    """The public key of an inspector, hexadecimal."""

    __tablename__ = "inspector_key"
    public_key: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    authorisation: Mapped[str] = mapped_column(Text)
    made_at: Mapped[str]


class DisposalRow(Base):
    """A record that was taken out after its period, and the archive that has it."""

    __tablename__ = "disposal"
    inspection_id: Mapped[str] = mapped_column(primary_key=True)
    at: Mapped[str]
    by_name: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    archive_sha256: Mapped[str]


class AuditRow(Base):
    """Who did what, when; each entry holds the hash of the one before it."""

    __tablename__ = "audit_log"
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[str]
    by_name: Mapped[str] = mapped_column(Text)
    action: Mapped[str]
    target: Mapped[str] = mapped_column(Text)
    detail: Mapped[str] = mapped_column(Text)
    previous_sha256: Mapped[str]
    entry_sha256: Mapped[str]


class LimitSetRow(Base):
    """One saved version of a limit set; versions are added, never changed."""

    __tablename__ = "limit_set"
    title: Mapped[str] = mapped_column(Text, primary_key=True)
    revision: Mapped[str] = mapped_column(Text, primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    saved_at: Mapped[str]
    invented: Mapped[bool]
    source_document: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)


class WorkOrderRow(Base):
    """A work order: the whole of it as JSON, and what it is listed by."""

    __tablename__ = "work_order"
    id: Mapped[str] = mapped_column(primary_key=True)
    revision: Mapped[int]
    number: Mapped[str] = mapped_column(Text)
    customer_reference: Mapped[str] = mapped_column(Text)
    created_at: Mapped[str]
    saved_at: Mapped[str]
    body: Mapped[str] = mapped_column(Text)


class DocumentRow(Base):
    """One version of a document: the whole of it as JSON."""

    __tablename__ = "document"
    kind: Mapped[str] = mapped_column(primary_key=True)
    id: Mapped[str] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[str]
    body: Mapped[str] = mapped_column(Text)


class AccountRow(Base):
    """A person who may sign in; `password_hash` is empty for sign-in by a provider only."""

    __tablename__ = "account"
    id: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    name_key: Mapped[str] = mapped_column(Text)
    role: Mapped[str]
    email: Mapped[str | None] = mapped_column(Text)
    password_hash: Mapped[str] = mapped_column(Text)
    disabled: Mapped[bool]
    made_at: Mapped[str]


class SignInRow(Base):
    """A browser that is signed in: the SHA-256 of its token only."""

    __tablename__ = "sign_in"
    token_sha256: Mapped[str] = mapped_column(primary_key=True)
    account_id: Mapped[str]
    seen_s: Mapped[float]
    ends_s: Mapped[float]


class WrongPasswordRow(Base):
    """Wrong passwords in a row for a name, known or not, by the SHA-256 of that name."""

    __tablename__ = "wrong_password"
    name_sha256: Mapped[str] = mapped_column(primary_key=True)
    count: Mapped[int]
    last_s: Mapped[float]
    until_s: Mapped[float]


class SignInRuleRow(Base):
    """What an administrator set for all sign-ins."""

    __tablename__ = "sign_in_rule"
    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[str]
