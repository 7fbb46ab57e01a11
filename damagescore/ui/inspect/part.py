"""Step 1: which part."""

from collections.abc import Callable
from typing import Any

import streamlit as st

from damagescore.inspection.record import Inspection, Part
from damagescore.records import Summary
from damagescore.ui.edits import set_part
from damagescore.ui.inspect.last_panel import last_panel
from damagescore.ui.last_time import last_of
from damagescore.ui.session import store, told

TEXT_FIELDS = (
    ("part_number", "Part number", "HV-2210"),
    ("serial_number", "Serial number", "HV-2210-0042"),
    ("description", "Description", "Laminated bearing, six rubber layers"),
    ("work_order", "Work order", "HVRW-0917"),
    ("position", "Position", "Test stand 3, upper"),
)


def part_step(inspection: Inspection, *, locked: bool) -> None:
    """Show and change the part; each field is saved as soon as it is left."""
    st.subheader("Part")
    if locked:
        _facts(inspection.part)
        with told():
            _last(inspection)
        return
    key = inspection.id
    fill(inspection.part, key=key)

    def save() -> None:
        set_part(inspection.id, typed(key))

    with st.container(border=True):
        part_fields(key, changed=save)
    with told():
        _known_parts(key, taken=save)
        _last(inspection)


def _last(inspection: Inspection) -> None:
    last = last_of(inspection)
    if last is not None:
        last_panel(last)
    elif inspection.part.serial_number:
        st.caption("This part was not inspected before.")


def part_form(part: Part, *, key: str, submit: str, save: Callable[[Part], None]) -> None:
    """Draw a form for a part; `save` runs as the callback of its button."""
    fill(part, key=key)
    with told():
        _known_parts(key)
    with st.form(f"part-{key}"):
        part_fields(key)
        st.form_submit_button(
            submit, type="primary", key=f"submit-part-{key}",
            on_click=lambda: save(typed(key)),
        )  # fmt: skip


def part_fields(key: str, *, changed: Callable[[], None] | None = None) -> None:
    """Draw the fields of a part, two in a row."""
    on_change: Any = changed or "rerun"
    for first in range(0, len(TEXT_FIELDS), 2):
        row = TEXT_FIELDS[first : first + 2]
        for column, (name, label, example) in zip(st.columns(2), row, strict=False):
            column.text_input(
                label, key=f"{name}-{key}", placeholder=f"such as {example}", max_chars=120,
                on_change=on_change,
            )  # fmt: skip
    for column, name in zip(st.columns(2), ("hours", "cycles"), strict=True):
        column.number_input(
            name.capitalize(), min_value=0.0, value=None, step=None, key=f"{name}-{key}",
            placeholder="leave empty if unknown", format="%g", on_change=on_change,
        )  # fmt: skip


def typed(key: str) -> Part:
    """Collect what stands in the fields."""
    texts: dict[str, Any] = {
        name: str(st.session_state[f"{name}-{key}"]).strip() for name, _, _ in TEXT_FIELDS
    }
    hours, cycles = (st.session_state[f"{name}-{key}"] for name in ("hours", "cycles"))
    return Part(**texts, hours=hours, cycles=cycles)


def fill(part: Part, *, key: str, anew: bool = False) -> None:
    """Put a part into the fields, unless something stands there already."""
    for name in (*(f[0] for f in TEXT_FIELDS), "hours", "cycles"):
        if anew or f"{name}-{key}" not in st.session_state:
            st.session_state[f"{name}-{key}"] = getattr(part, name)


def known_parts(summaries: list[Summary]) -> dict[str, str]:
    """Give a label for each part that was inspected before, and its newest record."""
    known: dict[str, str] = {}
    for summary in summaries:
        label = " · ".join(x for x in (summary.part_number, summary.serial_number) if x)
        if label:
            known.setdefault(label, summary.id)
    return known


def _known_parts(key: str, *, taken: Callable[[], None] | None = None) -> None:
    known = known_parts(store().search())
    if not known:
        return

    def take() -> None:
        label = st.session_state[f"known-{key}"]
        if label is not None:
            fill(store().load(known[label]).part, key=key, anew=True)
            if taken is not None:
                taken()

    st.selectbox(
        "Known part",
        list(known),
        index=None,
        key=f"known-{key}",
        placeholder="Fill in from its last inspection",
        on_change=take,
    )


def _facts(part: Part) -> None:
    rows = [(label, getattr(part, name)) for name, label, _ in TEXT_FIELDS]
    rows += [("Hours", part.hours), ("Cycles", part.cycles)]
    for label, value in rows:
        shown = f"{value:g}" if isinstance(value, float) else value
        st.markdown(f"**{label}:** {shown or '–'}")
