"""Page: records."""

from collections.abc import Mapping

import streamlit as st

from damagescore.quantity import count_words
from damagescore.records import Filters, Summary
from damagescore.ui.downloads import downloads
from damagescore.ui.inspect.limits import score_words
from damagescore.ui.record_filters import more_filters
from damagescore.ui.session import open_inspection, show_flashes, store, told
from damagescore.ui.supersede import supersede_box
from damagescore.ui.words import (
    disposition_words,
    invented_badge,
    outcome_badge,
    outcome_words,
    when,
)

PAGE = 25
"""Records shown before "Show more"."""

OUTCOMES = ("within", "borderline", "exceeded", "not_fully_assessed")
SIGNED: Mapping[str, bool | None] = {"All": None, "Signed": True, "Not signed": False}


def records_page() -> None:
    """Draw the page."""
    st.title("Records")
    show_flashes()
    with told():
        if not store().search(limit=1):
            _empty()
            return
        shown = st.session_state.get("records-shown", PAGE)
        found = store().find(_filters(), limit=shown)
        st.caption(count_words(found.total, "record"))
        for summary in found.records:
            with st.container(border=True):
                _record(summary)
        if found.total > shown and st.button("Show more", key="records-more"):
            st.session_state["records-shown"] = shown + PAGE
            st.rerun()


def _empty() -> None:
    st.info(
        "No records yet. An inspection is kept here from its first moment; once signed it "
        "cannot be changed, only superseded, and its papers stay at hand."
    )
    if st.button("Start an inspection", type="primary", key="records-start"):
        st.switch_page(st.session_state["pages"]["Inspect"])


def _filters() -> Filters:
    text, outcome, signed = st.columns([3, 2, 2])
    words = text.text_input(
        "Search", key="records-text", placeholder="part, serial, work order, inspector"
    )
    wanted = outcome.selectbox(
        "Result", OUTCOMES, index=None, format_func=outcome_words, key="records-outcome",
        placeholder="Any result",
    )  # fmt: skip
    state = signed.segmented_control(
        "State", list(SIGNED), default="All", required=True, key="records-signed"
    )
    return Filters(text=words, outcome=wanted, signed=SIGNED[state or "All"], **more_filters())


def _record(summary: Summary) -> None:
    facts, actions = st.columns([4, 1], vertical_alignment="center")
    with facts:
        name = " · ".join(x for x in (summary.part_number, summary.serial_number) if x)
        st.markdown(f"**{name or 'Part without a number'}**")
        with st.container(horizontal=True, vertical_alignment="center"):
            _badges(summary)
        st.caption(_caption(summary))
    with actions:
        if st.button("Open", key=f"open-{summary.id}", width="stretch"):
            open_inspection(summary.id)
            st.session_state["go_to_step"] = "sign" if summary.signed else "findings"
            st.switch_page(
                st.session_state["pages"]["Inspect"], query_params={"inspection": summary.id}
            )
    opened = st.toggle("Papers and history", key=f"more-{summary.id}")
    if opened:
        with told():
            _more(summary)


def _badges(summary: Summary) -> None:
    if summary.signed:
        st.badge("✓ Signed", color="green")
    else:
        st.badge("Not signed", color="gray")
    outcome_badge(summary.outcome)
    if summary.outcome is not None and summary.invented:
        invented_badge()
    if summary.superseded_by:
        st.badge("Superseded", color="orange", icon=":material/update:")


def _caption(summary: Summary) -> str:
    parts = [f"started {when(summary.created_at)}"]
    if summary.score is not None:
        parts.append(f"score {score_words(summary.score)}")
    if summary.disposition:
        parts.append(f"decided: {disposition_words(summary.disposition).lower()}")
    if summary.work_order:
        parts.append(f"work order {summary.work_order}")
    if summary.inspectors:
        parts.append(", ".join(summary.inspectors))
    return " · ".join(parts)


def _more(summary: Summary) -> None:
    inspection = store().load(summary.id)
    downloads(inspection, place="records")
    history = store().history(summary.id)
    if len(history) > 1:
        st.markdown("**History**")
        for number, record in enumerate(history, start=1):
            state = f"signed {when(record.signed_at)}" if record.signed else "not signed"
            here = " (this one)" if record.id == summary.id else ""
            st.markdown(f"{number}. {record.id[:8]} · {state}{here}")
    if inspection.signature is not None:
        supersede_box(inspection)
    with st.expander(f"Changes ({len(inspection.edits)})"):
        for edit in reversed(inspection.edits):
            reason = f" · {edit.reason}" if edit.reason else ""
            st.markdown(
                f"{edit.number}. {when(edit.at)} · {edit.by} · "
                f"{edit.action.replace('_', ' ')} {edit.target}{reason}"
            )
