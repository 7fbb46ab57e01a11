"""What people type: texts of sane length without control characters, sane numbers."""

import json
import math
import unicodedata
from collections.abc import Mapping
from dataclasses import fields
from datetime import UTC, datetime
from typing import Any

from damagescore.errors import RecordError
from damagescore.inspection.record import Inspection, Part, Task

NUMBERS = ("hours", "cycles", "hours_since_overhaul", "total_time_h")
"""Fields of a part that are numbers."""

MOST_NAME = 200
"""Longest name or number, characters."""

MOST_TEXT = 2000
"""Longest reason, note or statement, characters."""

# Control, surrogate and private characters; and those that turn the direction of what
# follows, which would let a text show something other than it holds.
_REFUSED_KINDS = ("Cc", "Cs", "Co")
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def now_utc() -> str:
    """Now, ISO 8601, UTC."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def name_of(text: object, field: str, *, needed: bool = False) -> str:
    """Check a one-line text and return it without blanks at its ends."""
    return _checked(text, field, most=MOST_NAME, lines=False, needed=needed)


def text_of(text: object, field: str, *, needed: bool = False) -> str:
    """Check a text that may have several lines."""
    return _checked(text, field, most=MOST_TEXT, lines=True, needed=needed)


def checked_part(part: Part) -> Part:
    """Check all fields of a part.

    Raises
    ------
    RecordError
        When a text is too long or holds control characters, or hours or cycles are
        not a number of 0 or more.
    """
    given: dict[str, Any] = {f.name: getattr(part, f.name) for f in fields(part)}
    for name, value in given.items():
        label = name.replace("_", " ")
        if name in NUMBERS:
            _check_number(value, label)
        else:
            given[name] = name_of(value, f"The {label}")
    return Part(**given)


def checked_task(task: Task) -> Task:
    """Check all that is said of the work; its extent may have several lines."""
    return Task(
        kind=name_of(task.kind, "The type of inspection"),
        extent=text_of(task.extent, "The extent"),
        data=text_of(task.data, "The maintenance data"),
        place=name_of(task.place, "The place"),
        cameras=text_of(task.cameras, "What is said of the cameras"),
    )


def checked_time(at: str | None) -> str:
    """Check an ISO 8601 time with its offset and return it in UTC; now when None."""
    if at is None:
        return now_utc()
    try:
        moment = datetime.fromisoformat(at)
    except (TypeError, ValueError):
        moment = None
    if moment is None or moment.tzinfo is None:
        raise RecordError(
            f"The time is {str(at)[:40]!r}, not an ISO 8601 time with its offset.",
            remedy="Give it as 2031-04-30T09:15:00+00:00.",
        )
    return moment.astimezone(UTC).isoformat(timespec="seconds")


def plain_json(value: Mapping[str, Any], what: str) -> dict[str, Any]:
    """Return the mapping as JSON would give it back, so that a record is exact.

    Raises
    ------
    RecordError
        When it holds what JSON does not have, such as a not-a-number.
    """
    try:
        plain = json.loads(json.dumps(value, allow_nan=False))
    except (TypeError, ValueError) as fault:
        raise RecordError(
            f"{what} cannot be kept in a record: {fault}.",
            remedy="Give plain numbers, texts, lists and mappings.",
        ) from fault
    assert isinstance(plain, dict)
    return plain


def check_open(inspection: Inspection) -> None:
    """Refuse to change a signed record."""
    if inspection.signature is not None:
        raise RecordError(
            f"Record {inspection.id} was signed on {inspection.signature.at} and cannot be "
            "changed.",
            remedy="Make a new record that supersedes it, with the reason.",
        )


def _checked(text: object, field: str, *, most: int, lines: bool, needed: bool) -> str:
    if not isinstance(text, str):
        raise RecordError(f"{field} is {str(text)[:40]!r}, not a text.", remedy="Give a text.")
    kept = text.strip()
    if needed and not kept:
        raise RecordError(f"{field} is empty.", remedy="Give it.")
    if len(kept) > most:
        raise RecordError(
            f"{field} has {len(kept)} characters, more than {most}.", remedy="Shorten it."
        )
    allowed = "\n\r\t" if lines else ""
    bad = next((c for c in kept if _refused(c) and c not in allowed), None)
    if bad is not None:
        raise RecordError(
            f"{field} holds the control character U+{ord(bad):04X}.",
            remedy="Remove it; type the text anew instead of pasting it.",
        )
    return kept


def _refused(character: str) -> bool:
    return character in _TURNING or unicodedata.category(character) in _REFUSED_KINDS


def _check_number(value: object, label: str) -> None:
    if value is None:
        return
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not math.isfinite(value) or value < 0:  # type: ignore[arg-type,operator]
        raise RecordError(
            f"The {label} are {str(value)[:40]!r}, not a number of 0 or more.",
            remedy="Give a number, or leave it empty.",
        )
