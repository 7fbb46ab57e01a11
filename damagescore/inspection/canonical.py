"""JSON text that every program writes alike: RFC 8785, JSON Canonicalization Scheme.

Members are sorted by the UTF-16 units of their names, there are no blanks, and a number
is written as ECMAScript writes a double: the shortest digits that give it back, without
a point where it is whole, with an exponent from 1e21 up and below 1e-6.
"""

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from damagescore.errors import RecordError

MOST_WHOLE = 2**53
"""Up to this every whole number is a double."""


def canonical_json(value: Any) -> str:
    """Write plain JSON data as RFC 8785 says.

    Raises
    ------
    RecordError
        When it holds what RFC 8785 does not allow: a not-a-number or infinity, a whole
        number that is no double, half a surrogate pair, a name that is no text, another type.
    """
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, float):
        return _number(value)
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, int):
        return _whole(value)
    if isinstance(value, list | tuple):
        return f"[{','.join(map(canonical_json, value))}]"
    if isinstance(value, Mapping):
        names = sorted(value, key=_units)
        members = (f"{_text(name)}:{canonical_json(value[name])}" for name in names)
        return f"{{{','.join(members)}}}"
    raise _refused(f"a {type(value).__name__}")


def _units(name: Any) -> bytes:
    if not isinstance(name, str):
        raise _refused(f"a member named by a {type(name).__name__}")
    return name.encode("utf-16-be", "surrogatepass")


def _text(text: str) -> str:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise _refused("half a surrogate pair") from None
    # Python escapes what RFC 8785 escapes, in the same way, when it may write UTF-8.
    return json.dumps(text, ensure_ascii=False)


def _number(number: float) -> str:
    if number - number != 0:  # only infinities and not-a-numbers
        raise _refused(f"the number {number}")
    written = repr(float(number))
    if "e" not in written:
        return "0" if number == 0 else written.removesuffix(".0")
    return _with_exponent(Decimal(written))


def _whole(number: int) -> str:
    written = str(int(number))
    # A program that reads doubles would write another text for what is none.
    if abs(number) > MOST_WHOLE and _number(float(number)) != written:
        raise _refused(f"the whole number {written[:40]}")
    return written


def _with_exponent(number: Decimal) -> str:
    # ECMA-262, Number::toString: k digits, of which n stand before the point.
    sign, kept, exponent = number.normalize().as_tuple()
    assert isinstance(exponent, int)
    digits, k = "".join(map(str, kept)), len(kept)
    n = k + exponent
    if k <= n <= 21:
        text = digits + "0" * (n - k)
    elif -6 < n <= 0:
        text = f"0.{'0' * -n}{digits}"
    else:
        fraction = f".{digits[1:]}" if k > 1 else ""
        text = f"{digits[0]}{fraction}e{n - 1:+d}"
    return f"-{text}" if sign else text


def _refused(what: str) -> RecordError:
    return RecordError(
        f"{what[0].upper()}{what[1:]} cannot be written into a signed record.",
        remedy="Give plain numbers, texts, lists and mappings.",
    )
