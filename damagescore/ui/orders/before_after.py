"""A part before and after its repair, from two of its records."""

from collections.abc import Sequence

import streamlit as st

from damagescore.inspection.record import Inspection, Part
from damagescore.orders.before_after import (
    MEANING,
    Change,
    before_after_pdf,
    changes,
    changes_csv,
    signed_text,
)
from damagescore.orders.record import Order
from damagescore.records import Filters, Summary
from damagescore.report.criteria import value_text
from damagescore.ui.offer import offer
from damagescore.ui.session import load, store, told, unit
from damagescore.ui.words import when


def records_of(part: Part) -> list[Summary]:
    """Give the records of a part that none replaced, oldest first."""
    same = Filters(
        part_number=part.part_number, serial_number=part.serial_number, superseded=False
    )
    return sorted(store().find(same).records, key=lambda s: (s.created_at, s.id))


def before_after(order: Order) -> None:
    """Choose a part of the order and two of its records; draw what changed between them."""
    st.subheader("Before and after repair")
    key = st.selectbox(
        "Repaired part", [p.key for p in order.parts], index=None, placeholder="Choose a part",
        key=f"repair-part-{order.id}",
    )  # fmt: skip
    if key is None:
        st.caption("Two inspections of a part, set against each other.")
        return
    records = records_of(order.part_of(key).part)
    if len(records) < 2:
        st.info(
            f"{key} has {'one record' if records else 'no record'}. Inspect it before and "
            "after its repair; then the two are compared here."
        )
        return
    left, right = st.columns(2)
    with told():
        before = _record(left, "Before", records, start=len(records) - 2, key=f"before-{key}")
        after = _record(right, "After", records, start=len(records) - 1, key=f"after-{key}")
        if before.id == after.id:
            st.info("Choose two different records.")
            return
        _differences(before, after)


def _record(
    column: st.delta_generator.DeltaGenerator, label: str, records: Sequence[Summary], *,
    start: int, key: str,
) -> Inspection:  # fmt: skip
    by_id = {s.id: s for s in records}
    chosen = column.selectbox(
        label, list(by_id), index=start, format_func=lambda i: _words(by_id[i]),
        key=f"repair-{key}",
    )  # fmt: skip
    return load(chosen)


def _words(summary: Summary) -> str:
    said = [when(summary.created_at)]
    said += [f"work order {summary.work_order}"] if summary.work_order else []
    said.append("signed" if summary.signed else "not signed")
    return " · ".join(said)


def _differences(before: Inspection, after: Inspection) -> None:
    rows = changes(before, after)
    if not rows:
        st.info("Neither record has anything measured yet.")
        return
    st.dataframe(
        [_row(r) for r in rows], hide_index=True, width="stretch", height="content",
        column_config={"Quantity": st.column_config.TextColumn(width="medium")},
    )  # fmt: skip
    st.caption(MEANING)
    with st.container(horizontal=True):
        shown = unit()  # asked for here: the file is made outside of the page's run
        offer(
            "Before and after, PDF",
            lambda: before_after_pdf(before, after, store().photo_bytes, unit=shown),
            file_name="before_after.pdf", mime="application/pdf", key="repair-pdf",
            icon=":material/download:",
        )  # fmt: skip
        offer(
            "CSV", lambda: changes_csv(rows), file_name="before_after.csv", mime="text/csv",
            key="repair-csv", icon=":material/download:",
        )  # fmt: skip


def _row(change: Change) -> dict[str, str]:
    shown, label = unit(), change.kind.label
    return {
        "Quantity": f"{label[:1].upper()}{label[1:]}, {change.of}",
        "Reading": change.reading,
        "Difference": signed_text(change, shown),
        "Before": value_text(change.before, shown),
        "After": value_text(change.after, shown),
    }
