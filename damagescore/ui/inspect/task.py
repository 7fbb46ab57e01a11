"""What was done, as rules on maintenance records ask: type, extent, data, place."""

import streamlit as st

from damagescore.inspection.record import Inspection, Task
from damagescore.ui.edits import set_task

FIELDS = (
    ("kind", "Type of inspection", "on-condition inspection"),
    ("extent", "Extent", "whole visible edge, all layers, both sides"),
    ("data", "Maintenance data and revision", "HV-MM-3, revision 2, task 7"),
    ("place", "Place", "workshop 2"),
)


def task_fields(inspection: Inspection) -> None:
    """Draw the fields; each is saved as soon as it is left."""
    key = inspection.id
    for name, *_ in FIELDS:
        st.session_state.setdefault(f"task-{name}-{key}", getattr(inspection.task, name))

    def save() -> None:
        given = {n: str(st.session_state[f"task-{n}-{key}"]) for n, *_ in FIELDS}
        set_task(key, Task(**given))

    with st.expander("What is done, where your rules ask for it"):
        for name, label, example in FIELDS:
            st.text_input(
                label, key=f"task-{name}-{key}", placeholder=f"such as {example}",
                max_chars=200, on_change=save,
            )  # fmt: skip


def task_facts(inspection: Inspection) -> None:
    """Show what was given."""
    for name, label, _ in FIELDS:
        value = getattr(inspection.task, name)
        if value:
            st.markdown(f"**{label}:** {value}")
