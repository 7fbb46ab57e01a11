"""Write a limit set as TOML, keeping the comments of the file it came from."""

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from damagescore.errors import LimitError
from damagescore.limits.decision import DecisionRule
from damagescore.limits.reader import criterion_from_plain
from damagescore.limits.record import Criterion, LimitSet
from damagescore.quantity import Length


def limit_set_to_toml(limit_set: LimitSet, *, previous_text: str | None = None) -> str:
    """TOML text of a limit set.

    Parameters
    ----------
    limit_set : LimitSet
    previous_text : str, optional
        Text of the file being replaced. Its comments, its order of keys and its
        layout are kept; a criterion keeps its comments by its id.

    Raises
    ------
    LimitError
        When `previous_text` is not TOML.
    """
    try:
        document = tomlkit.parse(previous_text or "")
    except TOMLKitError as fault:
        raise LimitError(
            f"The file to be replaced is not valid TOML: {fault}.",
            remedy="Correct it first, or save under another name.",
        ) from fault
    head = _head(limit_set)
    usual = {"unit": "mm", "invented": False, "effective_date": "", "notes": ""}
    _fill(document, _without_usual(head, document, usual=usual))
    if not isinstance(document.get("decision"), Table):
        document["decision"] = tomlkit.table()
    _fill(document["decision"], _decision(limit_set.decision, document["decision"]))
    _write_criteria(document, limit_set)
    return tomlkit.dumps(document)


def _head(limit_set: LimitSet) -> dict[str, Any]:
    plain = limit_set.to_dict()
    del plain["criteria"], plain["decision"]
    return plain


def _decision(rule: DecisionRule, table: Any) -> dict[str, Any]:
    fixed = {} if rule.kind == "custom" else {"guard_factor": rule.guard_factor}
    return _without_usual(rule.to_dict(), table, usual=fixed)


def _without_usual(
    plain: Mapping[str, Any], table: Any, *, usual: Mapping[str, Any]
) -> dict[str, Any]:
    """Leave out what a reader fills in by itself, unless it stands there already."""
    return {k: v for k, v in plain.items() if k in table or k not in usual or usual[k] != v}


def _write_criteria(document: Any, limit_set: LimitSet) -> None:
    before = document.get("criteria")
    tables = list(before) if isinstance(before, AoT) else []
    known = {str(table["id"]): table for table in tables if "id" in table}
    wanted = [c.id for c in limit_set.criteria]
    for criterion in limit_set.criteria:
        table = known.setdefault(criterion.id, tomlkit.table())
        _fill(table, _short(criterion, table, set_unit=limit_set.unit))
    if wanted == [str(table.get("id")) for table in tables]:
        return
    document.pop("criteria", None)
    document["criteria"] = tomlkit.aot()
    for name in wanted:
        document["criteria"].append(known[name])


def _short(criterion: Criterion, table: Any, *, set_unit: Length) -> dict[str, Any]:
    """Without what a reader fills in to the same criterion, unless it stands there."""
    plain = {k: v for k, v in criterion.to_dict().items() if v is not None}
    optional = ("min_size_unit", "unit", "scope", "statistic", "direction", "inclusive")
    for key in optional:
        trial = {k: v for k, v in plain.items() if k != key}
        if key not in table and _means(trial, criterion, set_unit=set_unit):
            plain = trial
    return plain


def _means(plain: Mapping[str, Any], criterion: Criterion, *, set_unit: Length) -> bool:
    try:
        return criterion_from_plain(plain, set_unit=set_unit) == criterion
    except LimitError:
        return False


def _fill(table: Any, values: Mapping[str, Any]) -> None:
    """Set what differs, so that untouched lines stay as they were written."""
    for key in [k for k in table if k not in values and k not in ("decision", "criteria")]:
        del table[key]
    for key, value in values.items():
        if key not in table or _unwrapped(table[key]) != value:
            table[key] = value


def _unwrapped(item: Any) -> Any:
    plain = item.unwrap() if hasattr(item, "unwrap") else item
    return plain.isoformat() if hasattr(plain, "isoformat") else plain
