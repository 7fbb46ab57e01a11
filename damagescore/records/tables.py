"""The tables of the store, as the program reads them; `migrations` makes them."""

from sqlalchemy import Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Base(DeclarativeBase):
    """Base of all tables."""


class SchemaRow(Base):
    """One row: the version of the tables, raised by each migration."""

    __tablename__ = "damagescore_schema"
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    changed_at: Mapped[str]


class InspectionRow(Base):
    """An inspection: the whole record as JSON, and columns to search by.

    `search_text` is the case-folded text of everything that is searched.
    """

    __tablename__ = "inspection"
    id: Mapped[str] = mapped_column(primary_key=True)
    revision: Mapped[int]
    created_at: Mapped[str]
    saved_at: Mapped[str]
    part_number: Mapped[str] = mapped_column(Text)
    serial_number: Mapped[str] = mapped_column(Text)
    work_order: Mapped[str] = mapped_column(Text)
    inspectors: Mapped[str] = mapped_column(Text)
    outcome: Mapped[str | None]
    score: Mapped[float | None]
    signed: Mapped[bool]
    signed_at: Mapped[str | None]
    disposition: Mapped[str | None]
    supersedes: Mapped[str | None]
    search_text: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)


class ChainRow(Base):
    """One link per signed record, in the order of signing."""

    __tablename__ = "signed_chain"
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    inspection_id: Mapped[str]
    body_sha256: Mapped[str]
    previous_sha256: Mapped[str]
    link_sha256: Mapped[str]


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
