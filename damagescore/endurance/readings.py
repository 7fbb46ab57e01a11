"""Stiffness and temperature of a part on test, from a CSV file."""

import csv
import io
import math
from collections.abc import Mapping

from damagescore.errors import UsageError
from damagescore.history.record import Point, Series
from damagescore.limits import Criterion, LimitSet
from damagescore.quantity import Contribution, Measured, from_budget

NEEDED = ("hours",)
KNOWN = ("hours", "stiffness", "stiffness_u", "temperature_c")
MOST_ROWS = 100_000


def read_readings(
    text: str, *, name: str, limits: LimitSet | None = None
) -> tuple[Series, ...]:
    """Read the columns "hours", "stiffness", "stiffness_u" and "temperature_c".

    Stiffness becomes its retention, in per cent of the first value: whatever its unit, a
    gauge's constant error cancels, and only what `stiffness_u` says (standard
    uncertainty, the same unit) is carried along.

    Parameters
    ----------
    text : str
        The file, comma or semicolon between cells, a point in numbers.
    name : str
        For messages.
    limits : LimitSet, optional
        Its criterion on stiffness retention, if any, becomes the limit.

    Returns
    -------
    tuple of Series
        "stiffness_retention" and "temperature", as the file has them.

    Raises
    ------
    UsageError
        When a column is unknown or missing, or a cell is no number; the line is named.
    """
    rows = _rows(text, name)
    found = []
    if any("stiffness" in r for r in rows):
        found.append(_retention([r for r in rows if "stiffness" in r], name, limits))
    if any("temperature_c" in r for r in rows):
        points = tuple(
            Point(use=r["hours"], value=Measured(value=r["temperature_c"], u=0.0, unit="1"))
            for r in rows
            if "temperature_c" in r
        )
        found.append(
            Series(id="temperature", label="Temperature in °C", unit="1", points=points)
        )
    if not found:
        raise UsageError(
            f"{name} has neither a column stiffness nor temperature_c.",
            remedy=f"Name the columns in its first line: {', '.join(KNOWN)}.",
        )
    return tuple(found)


def _rows(text: str, name: str) -> list[Mapping[str, float]]:
    first = text.lstrip("\ufeff").partition("\n")[0]
    reader = csv.DictReader(
        io.StringIO(text.lstrip("\ufeff")), delimiter=";" if ";" in first else ","
    )
    columns = [str(c).strip().lower() for c in reader.fieldnames or ()]
    odd = [c for c in columns if c not in KNOWN]
    if odd or "hours" not in columns:
        what = f"the unknown column {odd[0][:40]!r}" if odd else "no column hours"
        raise UsageError(
            f"{name} has {what}.",
            remedy=f"Name the columns in its first line: {', '.join(KNOWN)}.",
        )
    reader.fieldnames = columns
    rows = []
    for line, row in enumerate(reader, start=2):
        if line > MOST_ROWS:
            raise UsageError(f"{name} has more than {MOST_ROWS} lines.", remedy="Thin it out.")
        rows.append(_numbers(row, name, line))
    if not rows:
        raise UsageError(f"{name} has no readings.", remedy="Give one line for each reading.")
    return sorted(rows, key=lambda r: r["hours"])


def _numbers(row: Mapping[str, object], name: str, line: int) -> Mapping[str, float]:
    numbers = {}
    for column, cell in row.items():
        words = str(cell or "").strip()
        if not words:
            continue
        try:
            value = float(words)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or (column != "temperature_c" and value < 0):
            raise UsageError(
                f"{name}, line {line}: {column} is {words[:40]!r}.",
                remedy="Give a number with a point, of 0 or more; leave the cell empty where "
                "there is none.",
            )
        numbers[column] = value
    if "hours" not in numbers:
        raise UsageError(f"{name}, line {line}: there are no hours.", remedy="Give them.")
    return numbers


def _retention(rows: list[Mapping[str, float]], name: str, limits: LimitSet | None) -> Series:
    first = rows[0]
    if first["stiffness"] == 0:
        raise UsageError(
            f"{name}: the first stiffness is 0.", remedy="Give that of the new part first."
        )
    criterion = _criterion(limits)
    points = [
        Point(use=r["hours"], value=_share(r, first, is_first=i == 0))
        for i, r in enumerate(rows)
    ]
    return Series(
        id="stiffness_retention" if criterion is None else criterion.id,
        label="Stiffness retention", unit="%", points=tuple(points), direction="min",
        limit=None if criterion is None else criterion.base_limit,
        inclusive=criterion is not None and criterion.inclusive,
        guard_factor=1.65 if limits is None else limits.decision.guard_factor,
        text="" if criterion is None else criterion.text,
        invented=limits is not None and limits.invented,
    )  # fmt: skip


def _share(row: Mapping[str, float], first: Mapping[str, float], *, is_first: bool) -> Measured:
    value = 100 * row["stiffness"] / first["stiffness"]
    if is_first:  # 100 % by definition
        return Measured(value=value, u=0.0, unit="%")
    own = 100 * row.get("stiffness_u", 0.0) / first["stiffness"]
    start = value * first.get("stiffness_u", 0.0) / first["stiffness"]
    lines = (
        Contribution(source="stiffness then", u=own),
        Contribution(source="stiffness when new", u=start),
    )
    return from_budget(value, lines, unit="%")


def _criterion(limits: LimitSet | None) -> Criterion | None:
    criteria = () if limits is None else limits.criteria
    fit = (c for c in criteria if c.quantity == "stiffness_retention" and c.direction == "min")
    return next(fit, None)
