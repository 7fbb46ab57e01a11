"""Read a limit set from a TOML file that people edit."""

import datetime as dt
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from damagescore.errors import LimitError
from damagescore.limits.decision import DecisionRule
from damagescore.limits.faults import FieldError, choice_error, listed, shown
from damagescore.limits.quantities import SCOPES, quantity_kind
from damagescore.limits.record import (
    Criterion,
    LimitSet,
    check_number,
    check_text,
    dimension_of,
)
from damagescore.limits.toml_lines import Place, line_of
from damagescore.limits.units import unit_of
from damagescore.quantity import Length

LARGEST_FILE_BYTES = 1_000_000

TOP_KEYS = (
    "title", "source_document", "revision", "effective_date", "notes", "unit", "invented",
    "decision", "criteria",
)  # fmt: skip
DECISION_KEYS = ("kind", "guard_factor")
CRITERION_KEYS = (
    "id", "text", "quantity", "statistic", "scope", "limit", "unit", "inclusive", "direction",
    "min_size", "min_size_unit",
)  # fmt: skip


def read_limit_set(path: Path) -> LimitSet:
    """Read a limit set from a TOML file.

    Raises
    ------
    LimitError
        When the file cannot be read, is not TOML, or a field is not usable; the
        message names the file, the line, the field, the value and what is allowed.
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise LimitError(
                f"{path.name} has {path.stat().st_size} bytes, more than a limit set has.",
                remedy=f"Give a TOML file of at most {LARGEST_FILE_BYTES} bytes.",
            )
        text = path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise LimitError(
            f"The limit set {path} cannot be read: {fault.strerror or fault}.",
            remedy="Check the path.",
        ) from fault
    except UnicodeDecodeError as fault:
        raise LimitError(
            f"{path.name} is not a UTF-8 text file (byte {fault.start}).",
            remedy="Save it as plain text in UTF-8.",
        ) from fault
    return parse_limit_set(text, name=path.name)


def parse_limit_set(text: str, *, name: str = "limit set") -> LimitSet:
    """Read a limit set from TOML text; `name` stands in the error messages.

    Raises
    ------
    LimitError
        As `read_limit_set`.
    """
    try:
        plain = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise LimitError(
            f"{name} is not valid TOML: {str(fault).rstrip('.')}.",
            remedy="Correct that line; texts need quotes, and a key stands once in its table.",
        ) from fault
    return _Reading(text=text, name=name).limit_set(plain)


class _Reading:
    """One file being read: turns the fault of a field into one with its line."""

    def __init__(self, *, text: str, name: str) -> None:
        self._text = text
        self._name = name

    def limit_set(self, plain: dict[str, Any]) -> LimitSet:
        top: Place = ("", 0)
        try:
            _check_keys(plain, TOP_KEYS, needed=("title", "criteria"))
            unit = plain.get("unit", "mm")
            if unit not in ("mm", "in"):
                raise choice_error("unit", unit, ("mm", "in"))
            given = {k: v for k, v in plain.items() if k not in ("decision", "criteria")}
            _check_invented(given)
            given["effective_date"] = _date(given.get("effective_date", ""))
            _check_tables(plain)
        except FieldError as fault:
            raise self._placed(fault, top) from fault
        decision = self._decision(plain.get("decision", {}))
        criteria = self._criteria(plain["criteria"], unit)
        try:
            return LimitSet(**given, decision=decision, criteria=criteria)
        except FieldError as fault:
            raise self._placed(fault, top) from fault

    def _decision(self, plain: Mapping[str, Any]) -> DecisionRule:
        try:
            _check_keys(plain, DECISION_KEYS, needed=())
            kind, factor = plain.get("kind", "guarded"), plain.get("guard_factor")
            _check_factor(kind, factor)
            return DecisionRule.of(kind, None if factor is None else float(factor))
        except FieldError as fault:
            raise self._placed(fault, ("decision", 0)) from fault

    def _criteria(self, tables: list[Mapping[str, Any]], unit: Length) -> tuple[Criterion, ...]:
        found: list[Criterion] = []
        for number, plain in enumerate(tables):
            try:
                criterion = criterion_from_plain(plain, set_unit=unit)
                _check_new(criterion.id, found)
            except FieldError as fault:
                raise self._placed(fault, ("criteria", number)) from fault
            found.append(criterion)
        return tuple(found)

    def _placed(self, fault: FieldError, place: Place) -> LimitError:
        line = line_of(self._text, place, fault.field)
        where = self._name if line is None else f"{self._name}, line {line}"
        return LimitError(f"{where}: {fault.message}", remedy=fault.remedy)


def criterion_from_plain(plain: Mapping[str, Any], *, set_unit: Length) -> Criterion:
    """Make a criterion of a table, with what it leaves out filled in."""
    _check_keys(plain, CRITERION_KEYS, needed=("id", "text", "quantity", "limit"))
    for name in ("quantity", "statistic", "scope", "unit", "direction", "min_size_unit"):
        check_text(plain.get(name, "-"), name)
    kind = quantity_kind(plain["quantity"])
    direction = plain.get("direction", kind.direction)
    if direction not in kind.directions:
        raise choice_error("direction", direction, kind.directions)
    usual = "smallest" if direction == "min" else "largest"
    statistic = plain.get("statistic", usual)
    if statistic not in kind.statistics:
        raise choice_error("statistic", statistic, kind.statistics)
    unit = plain.get("unit", unit_of(dimension_of(kind, statistic), set_unit))
    filled = {
        "statistic": statistic,
        "scope": SCOPES[statistic][0],
        "direction": direction,
        "unit": unit,
        **plain,
    }
    if "min_size" in plain:
        same = dimension_of(kind, statistic) == kind.dimension
        filled.setdefault("min_size_unit", unit if same else unit_of(kind.dimension, set_unit))
    return Criterion(**filled)


def _check_factor(kind: object, factor: object) -> None:
    if factor is not None:
        check_number(factor, "guard_factor")
    elif kind == "custom":
        raise FieldError(
            'guard_factor is missing, and kind "custom" needs it.',
            remedy="Give the multiple of the standard uncertainty, for instance 2.0.",
            field="guard_factor",
        )


def _check_new(criterion_id: str, found: Iterable[Criterion]) -> None:
    if criterion_id in {c.id for c in found}:
        raise FieldError(
            f'id "{criterion_id}" is used twice.',
            remedy="Give each criterion its own id.",
            field="id",
        )


def _check_keys(
    plain: Mapping[str, Any], allowed: tuple[str, ...], *, needed: Iterable[str]
) -> None:
    for key in plain:
        if key not in allowed:
            fault = choice_error("key", key, allowed)
            raise FieldError(f'"{key}" is not a known key.', remedy=fault.remedy, field=key)
    for key in needed:
        if key not in plain:
            raise FieldError(
                f'"{key}" is missing.',
                remedy=f"Add it; needed are {listed(needed)}.",
                field=key,
            )


def _check_tables(plain: Mapping[str, Any]) -> None:
    decision, criteria = plain.get("decision", {}), plain["criteria"]
    if not isinstance(decision, dict):
        raise FieldError(
            f"decision is {shown(decision)}, not a table.",
            remedy='Write [decision] and below it kind = "guarded".',
            field="decision",
        )
    if not isinstance(criteria, list) or not all(isinstance(c, dict) for c in criteria):
        raise FieldError(
            f"criteria is {shown(criteria)}, not a list of tables.",
            remedy="Begin each criterion with [[criteria]].",
            field="criteria",
        )


def _check_invented(given: Mapping[str, Any]) -> None:
    invented = given.get("invented", False)
    if not isinstance(invented, bool):
        raise FieldError(
            f"invented is {shown(invented)}, neither true nor false.",
            remedy="Write true for made-up numbers, else false.",
            field="invented",
        )


def _date(seen: object) -> str:
    """ISO date of a TOML date or of a text; an empty text means that none is given."""
    try:
        if isinstance(seen, dt.datetime):
            return seen.date().isoformat()
        if isinstance(seen, dt.date):
            return seen.isoformat()
        return dt.date.fromisoformat(seen).isoformat() if seen else ""  # type: ignore[arg-type]
    except (TypeError, ValueError) as fault:
        raise FieldError(
            f"effective_date is {shown(seen)}, not a date.",
            remedy="Write it as year-month-day, for instance 2031-04-30.",
            field="effective_date",
        ) from fault
