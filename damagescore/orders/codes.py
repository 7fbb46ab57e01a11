"""The text of a job card's QR code: which order, part and position a photo shows.

One line of plain ASCII with six fields between colons::

    DJ1:ORDER:PART NUMBER:SERIAL NUMBER:CLOCK:CRC

`DJ1` names the form and its version. Each of the next three is as typed, but for what is
no unreserved character of RFC 3986: that is written as percent and two hexadecimal digits
for each byte of its UTF-8 form. CLOCK is the position on a round edge in hours of a clock
face, or empty. CRC is that of all before the last colon, four hexadecimal digits, CRC-16
with polynomial 0x1021 and initial value 0xFFFF (listed as CRC-16/IBM-3740; its check value
over "123456789" is 29B1).
"""

import binascii
import re
from dataclasses import dataclass
from urllib.parse import quote, unquote_to_bytes

from damagescore.errors import UsageError

MARK = "DJ1"

MOST = 200
"""Longest text, characters: what a code of 18 mm still shows with squares of 0.3 mm."""

_FIELD = re.compile(r"(?:[A-Za-z0-9_.~-]|%[0-9A-F]{2})*")
_CLOCK = re.compile(r"(?:\d{1,2}(?:\.\d{1,4})?)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class JobCode:
    """What the code of a job card says; `clock_hours` is None where it names no position."""

    order: str
    part_number: str
    serial_number: str
    clock_hours: float | None = None


def encode(code: JobCode) -> str:
    """The text of a code.

    Raises
    ------
    UsageError
        When the names make it longer than 200 characters.
    """
    clock = "" if code.clock_hours is None else f"{round(code.clock_hours, 4):g}"
    names = (code.order, code.part_number, code.serial_number)
    body = ":".join([MARK, *(quote(n, safe="") for n in names), clock])
    text = f"{body}:{check_digits(body)}"
    if len(text) > MOST:
        raise UsageError(
            f"The job card of {code.serial_number[:40]!r} needs {len(text)} characters, more "
            f"than {MOST}.",
            remedy="Shorten the order, part or serial number, or sort its photos by file name.",
        )
    return text


def decode(text: str) -> JobCode | None:
    """Read the text of a code; None where it is none of a job card.

    Raises
    ------
    UsageError
        When it begins as one but is damaged: its check digits or its form are wrong.
    """
    if not text.startswith(f"{MARK}:"):
        return None
    body, _, crc = text.rpartition(":")
    fields = body.split(":")
    sound = (
        len(text) <= MOST
        and text.isascii()
        and len(fields) == 5
        and all(_FIELD.fullmatch(f) for f in fields[1:4])
        and _CLOCK.fullmatch(fields[4])
        and check_digits(body) == crc
    )
    names = [_unquoted(f) for f in fields[1:4]] if sound else []
    clock = float(fields[4]) if sound and fields[4] else None
    if not names or None in names or (clock is not None and clock > 12):
        raise UsageError(
            f"The code {text[:40]!r} is of a job card, but damaged.",
            remedy="Assign the photo by hand.",
        )
    order, part_number, serial = (str(n) for n in names)
    return JobCode(
        order=order, part_number=part_number, serial_number=serial, clock_hours=clock
    )


def check_digits(body: str) -> str:
    """CRC-16/IBM-3740 of a text as four hexadecimal digits."""
    return f"{binascii.crc_hqx(body.encode('utf-8'), 0xFFFF):04X}"


def _unquoted(field: str) -> str | None:
    try:
        return unquote_to_bytes(field).decode("utf-8")
    except UnicodeDecodeError:
        return None
