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
    _fill(document, _head(limit_set), usual={"unit": "mm", "invented": False})
    decision = document.get("decision")
    if not isinstance(decision, Table):
        decision = tomlkit.table()
        document["decision"] = decision
    usual = (
        DecisionRule.of(limit_set.decision.kind).to_dict()
        if limit_set.decision.kind != "custom"
        else {}
    )
    _fill(
        decision,
        limit_set.decision.to_dict(),
        usual={k: v for k, v in usual.items() if k == "guard_factor"},
    )
    before = document.pop("criteria", None)
    document["criteria"] = _criteria(limit_set, before)
    return tomlkit.dumps(document)


def _head(limit_set: LimitSet) -> dict[str, Any]:
    plain = limit_set.to_dict()
    del plain["criteria"], plain["decision"]
    return plain


def _criteria(limit_set: LimitSet, before: object) -> AoT:
    known = {}
    if isinstance(before, AoT):
        known = {str(table["id"]): table for table in before if "id" in table}
    tables = tomlkit.aot()
    for criterion in limit_set.criteria:
        table = known.get(criterion.id, tomlkit.table())
        plain = {k: v for k, v in criterion.to_dict().items() if v is not None}
        _fill(table, plain, usual=_usual(criterion, limit_set))
        tables.append(table)
    return tables


def _usual(criterion: Criterion, limit_set: LimitSet) -> dict[str, Any]:
    """What a reader fills in by itself, so that it need not be written."""
    names = ("id", "text", "quantity", "limit", "statistic", "min_size")
    given = {name: getattr(criterion, name) for name in names}
    plain = {k: v for k, v in given.items() if v is not None}
    filled = criterion_from_plain(plain, set_unit=limit_set.unit).to_dict()
    return {k: v for k, v in filled.items() if k not in names}


def _fill(table: Any, values: Mapping[str, Any], *, usual: Mapping[str, Any]) -> None:
    """Set what differs, so that untouched lines stay as they were written."""
    for key in [k for k in table if k not in values and k not in ("decision", "criteria")]:
        del table[key]
    for key, value in values.items():
        absent = key not in table
        if absent and key in usual and usual[key] == value:
            continue
        if absent or _unwrapped(table[key]) != value:
            table[key] = value


def _unwrapped(item: Any) -> Any:
    plain = item.unwrap() if hasattr(item, "unwrap") else item
    return plain.isoformat() if hasattr(plain, "isoformat") else plain
