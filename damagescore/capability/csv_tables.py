"""Study data as CSV: read, with one clear sentence for each fault; blank plans to fill in."""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.capability.detection import Origin, Site
from damagescore.errors import StudyError

MOST_ROWS = 20_000

YES = ("1", "yes", "true", "found", "hit")
NO = ("0", "no", "false", "missed", "miss")
ORIGINS: tuple[Origin, ...] = ("prepared", "rendered", "field")


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeTable:
    """Grades or numbers: one row a subject, one column a grader; NaN where empty.

    `values` has shape (S, G).
    """

    subjects: tuple[str, ...]
    graders: tuple[str, ...]
    values: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedTable:
    """Values of shape (P, I, R): parts, inspectors, repeats in the order of first mention."""

    parts: tuple[str, ...]
    inspectors: tuple[str, ...]
    values: NDArray[np.float64]


def read_grades(text: str) -> GradeTable:
    """Read a table whose first column names the subject and each other one a grader.

    Raises
    ------
    StudyError
        When there are fewer than two graders, or a cell is no number.
    """
    rows = _rows(text)
    header, body = rows[0], rows[1:]
    if len(header) < 3:
        raise StudyError(
            f"The table has {len(header)} columns.",
            remedy="Give a column of subjects and one for each of at least two graders.",
        )
    values = [
        [_number(cell, line, header[k], empty=math.nan) for k, cell in _cells(row, header)]
        for line, row in enumerate(body, start=2)
    ]
    return GradeTable(
        subjects=tuple(row[0].strip() for row in body),
        graders=tuple(name.strip() for name in header[1:]),
        values=np.array(values, np.float64).reshape(len(body), len(header) - 1),
    )


def _cells(row: Sequence[str], header: Sequence[str]) -> list[tuple[int, str]]:
    return [(k, row[k] if k < len(row) else "") for k in range(1, len(header))]


def crossed_plan(
    parts: Sequence[str], inspectors: Sequence[str], repeats: int, *, seed: int
) -> str:
    """Write a blank plan: every combination once, in an order drawn anew for each repeat.

    Parameters
    ----------
    parts, inspectors : sequence of str
    repeats : int
    seed : int
        The same seed gives the same order.
    """
    rng = np.random.default_rng(seed)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["part", "inspector", "repeat", "value"])
    for repeat in range(1, repeats + 1):
        pairs = [(part, who) for part in parts for who in inspectors]
        for k in rng.permutation(len(pairs)):
            writer.writerow([*pairs[k], repeat, ""])
    return out.getvalue()


def read_crossed(text: str) -> CrossedTable:
    """Read a filled plan: columns part, inspector, repeat and value, rows in any order.

    Raises
    ------
    StudyError
        When a column or a combination is missing, is there twice, or a value is no number.
    """
    found: dict[tuple[str, str, str], float] = {}
    for line, row in _named(text, ("part", "inspector", "repeat", "value")):
        key = (row["part"], row["inspector"], row["repeat"])
        if key in found:
            raise StudyError(
                f"Line {line} gives part {key[0]}, inspector {key[1]}, repeat {key[2]} again.",
                remedy="Keep one of the two.",
            )
        found[key] = _number(row["value"], line, "value", empty=math.nan)
    names = [tuple(dict.fromkeys(key[k] for key in found)) for k in range(3)]
    missing = [(p, i, r) for p in names[0] for i in names[1] for r in names[2]
               if math.isnan(found.get((p, i, r), math.nan))]  # fmt: skip
    if missing:
        part, who, repeat = missing[0]
        raise StudyError(
            f"{len(missing)} values are missing, part {part}, inspector {who}, repeat {repeat} "
            "first.",
            remedy="Every inspector measures every part equally often: fill them in.",
        )
    values = [[[found[p, i, r] for r in names[2]] for i in names[1]] for p in names[0]]
    return CrossedTable(
        parts=names[0], inspectors=names[1], values=np.array(values, np.float64)
    )


def read_sites(text: str) -> tuple[Site, ...]:
    """Read a detection study: columns size_mm, found, and optionally signal and origin.

    An empty size is a site without damage.

    Raises
    ------
    StudyError
        When a column is missing or a cell cannot be understood.
    """
    sites = []
    for line, row in _named(text, ("size_mm", "found")):
        size = row["size_mm"]
        signal = row.get("signal", "")
        sites.append(
            Site(
                size_mm=_number(size, line, "size_mm", empty=0.0) if size else None,
                found=_yes(row["found"], line),
                signal=_number(signal, line, "signal", empty=0.0) if signal else None,
                origin=_origin(row.get("origin", ""), line),
            )
        )
    return tuple(sites)


def sites_csv(sites: Sequence[Site]) -> str:
    """Write sites so that `read_sites` reads them back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["size_mm", "found", "signal", "origin"])
    for site in sites:
        writer.writerow([
            "" if site.size_mm is None else f"{site.size_mm:.6g}", int(site.found),
            "" if site.signal is None else f"{site.signal:.6g}", site.origin,
        ])  # fmt: skip
    return out.getvalue()


def _yes(cell: str, line: int) -> bool:
    word = cell.casefold()
    if word not in (*YES, *NO):
        raise StudyError(
            f"Line {line} says {cell[:40]!r} for found.",
            remedy="Write 1 for found, 0 for missed.",
        )
    return word in YES


def _origin(cell: str, line: int) -> Origin:
    for origin in ORIGINS:
        if (cell.casefold() or "prepared") == origin:
            return origin
    raise StudyError(
        f"Line {line} says {cell[:40]!r} for origin.", remedy=f"Write {', '.join(ORIGINS)}."
    )


def _rows(text: str) -> list[list[str]]:
    sample = text.removeprefix("\ufeff")
    # Spreadsheets of many countries write semicolons.
    first = sample.partition("\n")[0]
    try:
        every = list(csv.reader(sample.splitlines(), delimiter=";" if ";" in first else ","))
    except csv.Error as fault:
        raise StudyError(
            f"The table cannot be read: {fault}.", remedy="Save it as CSV with UTF-8 again."
        ) from fault
    rows = [row for row in every if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise StudyError(
            f"The table has {len(rows)} rows.", remedy="Give a row of names and rows of data."
        )
    if len(rows) > MOST_ROWS:
        raise StudyError(
            f"The table has {len(rows)} rows.", remedy=f"At most {MOST_ROWS} are read."
        )
    return rows


def _named(text: str, needed: Sequence[str]) -> list[tuple[int, Mapping[str, str]]]:
    rows = _rows(text)
    names = [name.strip().casefold() for name in rows[0]]
    lacking = [name for name in needed if name not in names]
    if lacking:
        raise StudyError(
            f"The table has no column {lacking[0]!r}; it has {', '.join(names)[:120]}.",
            remedy=f"It needs the columns {', '.join(needed)}.",
        )
    return [
        (line, {name: (row[k].strip() if k < len(row) else "") for k, name in enumerate(names)})
        for line, row in enumerate(rows[1:], start=2)
    ]


def _number(cell: str, line: int, column: str, *, empty: float) -> float:
    word = cell.strip()
    if not word:
        return empty
    try:
        value = float(word.replace(",", "."))
    except ValueError:
        value = math.inf
    if not math.isfinite(value):
        raise StudyError(
            f"Line {line} says {word[:40]!r} for {column[:40]}, which is no number.",
            remedy="Correct it, or leave it empty where there is none.",
        )
    return value
