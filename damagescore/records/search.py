"""Search the records: by words, and by each thing that a record is indexed by."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import Session, aliased

from damagescore.errors import RecordError
from damagescore.records.tables import IndexRow, InspectionRow, WordRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """One record in a list.

    Parameters
    ----------
    revision : int
        Number of times it was saved.
    inspectors : tuple of str
        Everyone who signed, edited or measured.
    outcome : str or None
        "within", "borderline", "exceeded", "not_fully_assessed"; None when never
        assessed.
    score : float or None
        Largest usage times 100; 100 is at the removal limit. Infinite where damage
        exceeds a limit of 0.
    invented : bool or None
        Whether its limits were invented for a demonstration; None without limits.
    superseded_by : str or None
        The record that replaced this one.
    """

    id: str
    revision: int
    created_at: str
    saved_at: str
    part_number: str
    serial_number: str
    work_order: str
    inspectors: tuple[str, ...]
    outcome: str | None
    score: float | None
    signed: bool
    signed_at: str | None
    disposition: str | None
    supersedes: str | None
    invented: bool | None = None
    superseded_by: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Filters:
    """What the records sought have in common; what is None may be anything.

    Parameters
    ----------
    text : str
        Words that must all occur in the id, the part, a name, a photo's name, a gauge,
        the limit set, or a reason; case does not matter.
    part_number, serial_number, work_order, limit_revision : str or None
        Exactly this.
    outcome, disposition : str or None
        One of those that an assessment or a signature has.
    position, signer, limit_title, person, gauge : str or None
        Containing this, in capitals or not.
    signed, superseded : bool or None
        In this state.
    kind, layer, photo, hand, action : str or None
        A kind of damage that was found, a layer with damage, a photo's SHA-256, a quantity
        measured by hand, an edit. `person` is anyone who worked on the record.
    created_from, created_to, signed_from, signed_to : str or None
        First and last day, YYYY-MM-DD in UTC.
    usage_min, usage_max : float or None
        Percent of the limit that is nearest to being exceeded.
    hours_min, hours_max, cycles_min, cycles_max : float or None
        In service.
    """

    text: str = ""
    part_number: str | None = None
    serial_number: str | None = None
    work_order: str | None = None
    position: str | None = None
    outcome: str | None = None
    disposition: str | None = None
    limit_title: str | None = None
    limit_revision: str | None = None
    signer: str | None = None
    signed: bool | None = None
    superseded: bool | None = None
    kind: str | None = None
    layer: str | None = None
    photo: str | None = None
    gauge: str | None = None
    hand: str | None = None
    person: str | None = None
    action: str | None = None
    created_from: str | None = None
    created_to: str | None = None
    signed_from: str | None = None
    signed_to: str | None = None
    usage_min: float | None = None
    usage_max: float | None = None
    hours_min: float | None = None
    hours_max: float | None = None
    cycles_min: float | None = None
    cycles_max: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One page of records, newest first, and how many there are in all."""

    records: tuple[Summary, ...]
    total: int


_EXACT = (
    "part_number", "serial_number", "work_order", "outcome", "disposition",
    "limit_revision", "signed",
)  # fmt: skip
_CONTAINING = ("position", "signer", "limit_title")
_WORDS = ("kind", "layer", "photo", "hand", "action")
_WORDS_CONTAINING = ("person", "gauge")
_RANGES = (("usage", "score"), ("hours", "hours"), ("cycles", "cycles"))
_DAYS = (("created", "created_at"), ("signed", "signed_at"))

_After = aliased(InspectionRow)


def find_records(session: Session, filters: Filters, *, limit: int, offset: int) -> Found:
    """Give one page of the records that the filters let through.

    Raises
    ------
    RecordError
        When a day is not written as YYYY-MM-DD.
    """
    conditions = list(_conditions(filters))
    newest = (IndexRow.created_at.desc(), IndexRow.inspection_id.desc())
    page = _listed().where(*conditions).order_by(*newest).limit(limit).offset(offset)
    records = tuple(_summary(row) for row in session.execute(page))
    total = offset + len(records)
    if not records or len(records) == limit:
        count = select(func.count()).select_from(IndexRow).where(*conditions)
        total = session.scalar(count) or 0
    return Found(records=records, total=total)


def summaries_of(session: Session, inspection_ids: list[str]) -> list[Summary]:
    """Give the records of these ids, in their order."""
    rows = session.execute(_listed().where(IndexRow.inspection_id.in_(inspection_ids)))
    found = {summary.id: summary for summary in map(_summary, rows)}
    return [found[name] for name in inspection_ids if name in found]


def _listed() -> "Select[IndexRow, int, str, str | None, str]":
    return (
        select(
            IndexRow, InspectionRow.revision, InspectionRow.saved_at,
            InspectionRow.supersedes, _After.id,
        )
        .join(InspectionRow, InspectionRow.id == IndexRow.inspection_id)
        .outerjoin(_After, _After.supersedes == IndexRow.inspection_id)
    )  # fmt: skip


def _conditions(filters: Filters) -> Iterator[ColumnElement[bool]]:
    for word in filters.text.casefold().split():
        yield IndexRow.search_text.contains(word, autoescape=True)
    for name in _EXACT:
        wanted = getattr(filters, name)
        if wanted is not None:
            yield getattr(IndexRow, name) == wanted
    for name in _CONTAINING:
        wanted = getattr(filters, name)
        if wanted is not None:
            yield getattr(IndexRow, name).icontains(wanted, autoescape=True)
    yield from _words(filters)
    yield from _ranges(filters)
    if filters.superseded is not None:
        replaced = select(InspectionRow.supersedes).where(InspectionRow.supersedes.is_not(None))
        inside = IndexRow.inspection_id.in_(replaced)
        yield inside if filters.superseded else ~inside


def _words(filters: Filters) -> Iterator[ColumnElement[bool]]:
    for field in (*_WORDS, *_WORDS_CONTAINING):
        wanted = getattr(filters, field)
        if wanted is None:
            continue
        folded = wanted.casefold()
        same = WordRow.value == folded
        if field in _WORDS_CONTAINING:
            same = WordRow.value.contains(folded, autoescape=True)
        query = select(WordRow.inspection_id).where(WordRow.field == field, same)
        yield IndexRow.inspection_id.in_(query)


def _ranges(filters: Filters) -> Iterator[ColumnElement[bool]]:
    for name, column in _RANGES:
        low, high = (getattr(filters, f"{name}_{end}") for end in ("min", "max"))
        if low is not None:
            yield getattr(IndexRow, column) >= low
        if high is not None:
            yield getattr(IndexRow, column) <= high
    for name, column in _DAYS:
        first, last = (getattr(filters, f"{name}_{end}") for end in ("from", "to"))
        if first is not None:
            yield getattr(IndexRow, column) >= _day(first).isoformat()
        if last is not None:
            yield getattr(IndexRow, column) < (_day(last) + timedelta(days=1)).isoformat()


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise RecordError(
            f"{text[:40]!r} is not a day.", remedy="Write it as YYYY-MM-DD, such as 2031-04-30."
        ) from None


def _summary(row: Any) -> Summary:
    index, revision, saved_at, supersedes, after = row
    names = (
        "created_at", "part_number", "serial_number", "work_order", "outcome", "score",
        "signed", "signed_at", "disposition", "invented",
    )  # fmt: skip
    return Summary(
        **{name: getattr(index, name) for name in names},
        id=index.inspection_id,
        revision=revision,
        saved_at=saved_at,
        inspectors=tuple(index.inspectors.split("\n")) if index.inspectors else (),
        supersedes=supersedes,
        superseded_by=after,
    )
