"""Photos sorted by the names of their files.

    ORDER_SERIAL[_PLACE][_anything].ending

ORDER and SERIAL are those of the order and the part; characters that are no letter, digit,
point or hyphen stand as hyphens, and case does not matter. PLACE is `3h` or `4h30` for a
position on a round edge, or `profile` for a profile view; what follows is free.
"""

import re
from dataclasses import dataclass
from pathlib import PurePath

from damagescore.measurement import View
from damagescore.orders.record import Order, OrderPart

_CLOCK = re.compile(r"(\d{1,2})h([0-5]\d)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What a file name says: the parts that it fits, and the place."""

    parts: tuple[OrderPart, ...]
    clock_hours: float | None = None
    view: View = "face"


def read_name(name: str, order: Order) -> Named:
    """Give the parts whose order and serial number a file name begins with."""
    stem = PurePath(name).stem.casefold()
    fitting = [(p, rest) for p in order.parts if (rest := _rest(stem, order, p)) is not None]
    places = [_place(rest) for _, rest in fitting]
    clock, view = places[0] if places else (None, "face")
    return Named(parts=tuple(p for p, _ in fitting), clock_hours=clock, view=view)


def place_of(name: str) -> tuple[float | None, View]:
    """Clock position and view that a file's own name says, wherever it stands in it."""
    stem = PurePath(name).stem.casefold()
    for word in stem.split("_"):
        found = _place(word)
        if found != (None, "face"):
            return found
    return None, "face"


def plain_name(text: str) -> str:
    """A number as it stands in file names."""
    return "".join(c if c.isalnum() or c in ".-" else "-" for c in text.casefold())


def _rest(stem: str, order: Order, part: OrderPart) -> str | None:
    """What follows ORDER_SERIAL; None where the name does not begin so."""
    start = f"{plain_name(order.number)}_{plain_name(part.part.serial_number)}"
    if stem == start:
        return ""
    return stem.removeprefix(f"{start}_") if stem.startswith(f"{start}_") else None


def _place(rest: str) -> tuple[float | None, View]:
    word = rest.partition("_")[0]
    if word == "profile":
        return None, "profile"
    found = _CLOCK.fullmatch(word)
    if found is None:
        return None, "face"
    hours = int(found[1]) + int(found[2] or 0) / 60
    return (hours if hours <= 12 else None), "face"
