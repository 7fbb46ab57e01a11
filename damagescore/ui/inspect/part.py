"""Step 1: which part."""

from collections.abc import Callable, Sequence
from html import escape
from typing import Any

import streamlit as st

from damagescore.inspection.record import Inspection, Part
from damagescore.records import Summary
from damagescore.ui.edits import set_part
from damagescore.ui.inspect.last_panel import last_panel
from damagescore.ui.inspect.task import task_facts, task_fields
from damagescore.ui.last_time import last_of
from damagescore.ui.session import store, told

TEXT_FIELDS = (
    ("part_number", "Part number", "HV-2210"),
    ("serial_number", "Serial number", "HV-2210-0042"),
    ("description", "Description", "Laminated bearing, six rubber layers"),
    ("work_order", "Work order", "HVRW-0917"),
    ("position", "Position", "Test stand 3, upper"),
)

NUMBERS = (("hours", "Hours"), ("cycles", "Cycles"))

# What some rules on maintenance records ask for; folded away, since many users need none.
MORE_TEXTS = (("fitted_to", "Fitted to", "Test rig 3"),)
MORE_NUMBERS = (
    ("total_time_h", "Its total time in service, hours"),
    ("hours_since_overhaul", "Hours since overhaul of the part"),
)


def part_step(inspection: Inspection, *, locked: bool) -> None:
    """Show and change the part; each field is saved as soon as it is left."""
    st.subheader("Part")
    if locked:
        _facts(inspection.part)
        task_facts(inspection)
        with told():
            _last(inspection)
        return
    key = inspection.id
    fill(inspection.part, key=key)

    def save() -> None:
        set_part(inspection.id, typed(key))

    with st.container(border=True):
        part_fields(key, changed=save)
        task_fields(inspection)
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
    _texts(TEXT_FIELDS, key, changed)
    _numbers(NUMBERS, key, changed)
    with st.expander("More about the part, where your rules ask for it"):
        _texts(MORE_TEXTS, key, changed)
        _numbers(MORE_NUMBERS, key, changed)


def _texts(
    fields: Sequence[tuple[str, str, str]], key: str, changed: Callable[[], None] | None
) -> None:
    on_change: Any = changed or "rerun"
    for first in range(0, len(fields), 2):
        row = fields[first : first + 2]
        for column, (name, label, example) in zip(st.columns(2), row, strict=False):
            column.text_input(
                label, key=f"{name}-{key}", placeholder=f"such as {example}", max_chars=120,
                on_change=on_change,
            )  # fmt: skip


def _numbers(
    fields: Sequence[tuple[str, str]], key: str, changed: Callable[[], None] | None
) -> None:
    on_change: Any = changed or "rerun"
    for column, (name, label) in zip(st.columns(2), fields, strict=True):
        column.number_input(
            label, min_value=0.0, value=None, step=None, key=f"{name}-{key}",
            placeholder="leave empty if unknown", format="%g", on_change=on_change,
        )  # fmt: skip


def typed(key: str) -> Part:
    """Collect what stands in the fields."""
    texts: dict[str, Any] = {
        name: str(st.session_state[f"{name}-{key}"]).strip()
        for name, _, _ in (*TEXT_FIELDS, *MORE_TEXTS)
    }
    numbers: dict[str, Any] = {
        name: st.session_state[f"{name}-{key}"] for name, _ in (*NUMBERS, *MORE_NUMBERS)
    }
    return Part(**texts, **numbers)


def fill(part: Part, *, key: str, anew: bool = False) -> None:
    """Put a part into the fields, unless something stands there already."""
    for name, *_ in (*TEXT_FIELDS, *MORE_TEXTS, *NUMBERS, *MORE_NUMBERS):
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
    rows += [(label, getattr(part, name)) for name, label in NUMBERS]
    more = [(label, getattr(part, name)) for name, label, *_ in (*MORE_TEXTS, *MORE_NUMBERS)]
    rows += [(label, value) for label, value in more if value]
    texts = ((k, f"{v:g}" if isinstance(v, float) else str(v or "–")) for k, v in rows)
    cells = (f"<dt>{escape(label)}</dt><dd>{escape(text)}</dd>" for label, text in texts)
    st.html(f'<dl class="ds-facts">{"".join(cells)}</dl>')
