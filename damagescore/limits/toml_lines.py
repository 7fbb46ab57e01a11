"""Find the line of a key in the text of a TOML file, for error messages."""

import re

HEADER = re.compile(r"^\s*(\[\[?)\s*([\w.\-]+)\s*\]\]?")
KEY = re.compile(r"""^\s*["']?([\w\-]+)["']?\s*=(.*)$""")

Place = tuple[str, int]
"""Table name ("" for the top) and its number among tables of that name, 0 first."""


def line_of(text: str, place: Place, key: str) -> int | None:
    """Line number of a key, counted from 1; of its table's header when it is missing."""
    header: int | None = None if place[0] else 1
    for number, where, name in _keys(text):
        if where != place:
            continue
        if name == key:
            return number
        header = header or number
    return header


def _keys(text: str) -> list[tuple[int, Place, str]]:
    """Give all (line, table, key); the key of a header itself is empty."""
    found: list[tuple[int, Place, str]] = []
    counts: dict[str, int] = {}
    place: Place = ("", 0)
    quotes = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if quotes:
            quotes = "" if quotes in line else quotes
            continue
        if header := HEADER.match(line):
            name = header[2]
            place = (name, counts.get(name, 0))
            counts[name] = place[1] + 1
            found.append((number, place, ""))
        elif key := KEY.match(line):
            found.append((number, place, key[1]))
            quotes = _left_open(key[2])
    return found


def _left_open(value: str) -> str:
    """The quotes of a text that goes on in the next line, else an empty text."""
    start = value.strip()[:3]
    many_lines = start in ('"""', "'''") and start not in value.strip()[3:]
    return start if many_lines else ""
