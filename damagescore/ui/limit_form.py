"""A limit set as a form: fields above, criteria as a table below."""

from collections.abc import Mapping
from typing import Any

import streamlit as st

from damagescore.errors import LimitError
from damagescore.limits import Criterion, DecisionRule, LimitSet, quantities

RULES: Mapping[str, str] = {
    "guarded": "Guarded: nearer to the limit than 1.65 u is borderline (ISO 14253-1:2017)",
    "simple": "Simple: the value alone decides",
    "custom": "Own factor on u",
}

COLUMNS = (
    "id", "text", "quantity", "statistic", "scope", "limit", "unit", "inclusive", "direction",
    "min_size", "min_size_unit",
)  # fmt: skip


def new_set() -> LimitSet:
    """Give the frame of a new set; its criterion is not shown, see `blank_rows`."""
    unused = Criterion(
        id="unused", text="unused", quantity="crack_length", limit=0.0, unit="mm"
    )
    return LimitSet(title="New limit set", criteria=(unused,))


def blank_rows() -> list[dict[str, Any]]:
    """One row to fill in. It names no limit: a number that stands there might be taken."""
    row: dict[str, Any] = dict.fromkeys(COLUMNS)
    usual = {
        "id": "criterion-1", "quantity": "crack_length", "statistic": "largest",
        "scope": "finding", "unit": "mm", "inclusive": False, "direction": "max",
    }  # fmt: skip
    return [{**row, **usual}]


def editor(
    limit_set: LimitSet, *, key: str, rows: list[dict[str, Any]] | None = None
) -> LimitSet | None:
    """Draw the form; give the changed set when it was sent, else None.

    Raises
    ------
    LimitError
        When what was typed is not a limit set; it names the row and the field.
    """
    with st.form(f"limit-set-{key}"):
        fields = _fields(limit_set, key=key)
        st.markdown("**Criteria**")
        st.caption(
            "A row per limit. Add rows at the bottom; every change is checked on saving."
        )
        typed = st.data_editor(
            rows or [row_of(c) for c in limit_set.criteria],
            num_rows="dynamic", hide_index=True, width="stretch", key=f"criteria-{key}",
            column_order=COLUMNS, column_config=_column_config(),
        )  # fmt: skip
        sent = st.form_submit_button("Save the limit set", type="primary", key=f"save-{key}")
    if not sent:
        return None
    return set_of(fields, typed)


def set_of(fields: Mapping[str, Any], rows: list[dict[str, Any]]) -> LimitSet:
    """Make a limit set of what was typed.

    Raises
    ------
    LimitError
        Naming the row and the field at fault.
    """
    criteria = []
    for number, row in enumerate(rows, start=1):
        if not any(value not in (None, "", False) for value in row.values()):
            continue
        criteria.append(_criterion(row, number=number, unit=fields["unit"]))
    rule = DecisionRule.of(
        fields["rule"], fields["factor"] if fields["rule"] == "custom" else None
    )
    kept = {k: v for k, v in fields.items() if k not in ("rule", "factor")}
    return LimitSet(**kept, criteria=tuple(criteria), decision=rule)


def row_of(criterion: Criterion) -> dict[str, Any]:
    """One criterion as a row of the table."""
    plain = criterion.to_dict()
    return {name: plain[name] for name in COLUMNS}


def _criterion(row: Mapping[str, Any], *, number: int, unit: str) -> Criterion:
    given = {k: v for k, v in row.items() if k in COLUMNS and v not in (None, "")}
    given.setdefault("unit", unit)
    missing = [x for x in ("id", "text", "quantity", "limit") if x not in given]
    if missing:
        raise LimitError(
            f"Row {number} of the criteria has no {missing[0]}.", remedy="Fill it in."
        )
    try:
        return Criterion(**given)
    except LimitError as fault:
        raise LimitError(
            f"Row {number} of the criteria ({given['id']}): {fault.message}",
            remedy=fault.remedy,
        ) from fault


def _fields(limit_set: LimitSet, *, key: str) -> dict[str, Any]:
    left, right = st.columns(2)
    texts = {}
    for column, name, label in (
        (left, "title", "Title"), (right, "source_document", "Source document"),
        (left, "revision", "Revision"), (right, "effective_date", "Effective date"),
    ):  # fmt: skip
        texts[name] = column.text_input(label, getattr(limit_set, name), key=f"{name}-{key}")
    notes = st.text_area("Notes", limit_set.notes, key=f"notes-{key}", height=80)
    rule = left.selectbox(
        "Decision rule", list(RULES), list(RULES).index(limit_set.decision.kind),
        format_func=RULES.__getitem__, key=f"rule-{key}",
    )  # fmt: skip
    factor = right.number_input(
        "Own factor on u", 0.0, 10.0, float(limit_set.decision.guard_factor), 0.05,
        key=f"factor-{key}", help="Counts with the rule 'own factor' only.",
    )  # fmt: skip
    unit = left.radio(
        "Unit of rows that name none", ["mm", "in"], ("mm", "in").index(limit_set.unit),
        horizontal=True, key=f"unit-{key}",
    )  # fmt: skip
    invented = right.checkbox(
        "Invented numbers, for demonstration only", limit_set.invented, key=f"invented-{key}"
    )
    return {**texts, "notes": notes, "rule": rule, "factor": factor, "unit": unit,
            "invented": invented}  # fmt: skip


def _column_config() -> dict[str, Any]:
    column = st.column_config
    return {
        "id": column.TextColumn("Id", width=110),
        "text": column.TextColumn("As the document words it", width=260),
        "quantity": column.SelectboxColumn("Quantity", options=[k.name for k in quantities()]),
        "statistic": column.SelectboxColumn(
            "Statistic", default="largest",
            options=["largest", "longest", "smallest", "total", "count", "share"],
        ),
        "scope": column.SelectboxColumn(
            "Scope", options=["finding", "layer", "part"], default="finding"
        ),
        "limit": column.NumberColumn("Limit", min_value=0.0, width=70),
        "unit": column.SelectboxColumn("Unit", options=["mm", "in", "mm2", "in2", "%", "1"]),
        "inclusive": column.CheckboxColumn(
            "Reaching it counts", default=False, help="The limit itself already violates it."
        ),
        "direction": column.SelectboxColumn("Side", options=["max", "min"], default="max"),
        "min_size": column.NumberColumn("Count from", min_value=0.0),
        "min_size_unit": column.SelectboxColumn(
            "Unit of that", options=["mm", "in", "mm2", "in2", "%"]
        ),
    }  # fmt: skip
