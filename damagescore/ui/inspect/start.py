"""Before there is an inspection: start one, go on with one, or try the demo."""

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.inspection import assess_inspection, new_inspection
from damagescore.inspection.record import Part
from damagescore.ui.access import allowed, require
from damagescore.ui.inspect.part import part_form
from damagescore.ui.last_time import last_inspection, limit_set_of
from damagescore.ui.session import flash, inspector, open_inspection, store, told
from damagescore.ui.words import when

DEMO_PART = Part(
    part_number="HV-2210",
    serial_number="HV-2210-0042",
    description="Laminated bearing, six rubber layers",
    position="Test stand 3, upper",
    hours=1400.0,
    work_order="HVRW-0917",
)
"""A part of the demo photos: neither it nor its maker exists."""


def start_view() -> None:
    """Draw the empty state of the page."""
    if not allowed("edit"):
        st.write("Your role does not inspect. Open a record to read it.")
        with told():
            _unsigned()
        return
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.subheader("Start an inspection")
        st.write("Say which part it is. Every field can be filled in later.")
        part_form(Part(), key="new", submit="Start the inspection", save=start)
    with right:
        st.subheader("How it goes")
        st.markdown(
            "1. **Part**: number, serial, hours.\n"
            "2. **Photos** of the exposed rubber edge with something of known size.\n"
            "3. **Findings**: confirm, reject or trace each one on the photo.\n"
            "4. **Hand measurements**: depth, height, stiffness.\n"
            "5. **Limits**: compare with the limits of your maintenance data.\n"
            "6. **Sign**: your decision, kept for good, as PDF, JSON and CSV."
        )
        st.button(
            "Try it with a demo part",
            key="start_demo",
            icon=":material/science:",
            on_click=start,
            args=(DEMO_PART,),
            help="Opens an inspection of an invented part, with demo photos to choose from.",
        )
        with told():
            _unsigned()


def start(part: Part) -> None:
    """Make and open an inspection; runs as a callback."""
    inspection = new_inspection(part, by=inspector())
    try:
        require("edit")
        last = last_inspection(inspection.part)
        limits = None if last is None else limit_set_of(last)
        if limits is not None:
            inspection = assess_inspection(inspection, limits, by=inspector())
        store().save(inspection, expected_revision=0)
    except DamageScoreError as fault:
        flash(str(fault), bad=True)
        return
    open_inspection(inspection.id)
    # A part that was inspected before opens with what is known of it.
    st.session_state["step"] = "photos" if last is None else "part"


def _unsigned() -> None:
    found = store().search(signed=False, limit=6)
    if not found:
        return
    st.subheader("Go on with")
    for summary in found:
        label = summary.part_number or "Part without a number"
        serial = f" · {summary.serial_number}" if summary.serial_number else ""
        st.button(
            f"{label}{serial} · {when(summary.created_at)[:10]}",
            key=f"go-on-{summary.id}",
            type="tertiary",
            icon=":material/history:",
            on_click=open_inspection,
            args=(summary.id,),
        )
