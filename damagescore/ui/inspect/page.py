"""Page: one inspection, step by step."""

from collections.abc import Callable, Mapping

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.inspection import n_proposed
from damagescore.inspection.record import Inspection
from damagescore.ui.access import allowed
from damagescore.ui.inspect.findings import findings_step
from damagescore.ui.inspect.hand import hand_step
from damagescore.ui.inspect.limits import limits_step
from damagescore.ui.inspect.measuring_panel import measuring_panel
from damagescore.ui.inspect.others import others_panel
from damagescore.ui.inspect.part import part_step
from damagescore.ui.inspect.photos import photos_step
from damagescore.ui.inspect.sign import sign_step
from damagescore.ui.inspect.start import start_view
from damagescore.ui.session import (
    current_inspection,
    inspector,
    open_inspection,
    show_flashes,
)
from damagescore.ui.words import CAUTIONS, invented_badge, outcome_badge, when

Step = Callable[..., None]

STEPS: Mapping[str, tuple[str, Step]] = {
    "part": ("Part", part_step),
    "photos": ("Photos", photos_step),
    "findings": ("Findings", findings_step),
    "hand": ("Hand measurements", hand_step),
    "limits": ("Limits", limits_step),
    "sign": ("Sign", sign_step),
}


def inspect_page() -> None:
    """Draw the page."""
    inspection = _opened()
    if inspection is None:
        st.title("Inspect")
        _cautions()
        show_flashes()
        _who()
        start_view()
        return
    _head(inspection)
    _cautions()
    show_flashes()
    if inspection.signature is None:
        _who()
    locked = inspection.signature is not None or not inspector() or not allowed("edit")
    step = _stepper(inspection)
    others_panel(inspection.id)
    if step != "photos":
        measuring_panel(inspection.id, locked=locked, whole=False)
    STEPS[step][1](inspection, locked=locked)
    _onwards(inspection, step)


def _opened() -> Inspection | None:
    try:
        return current_inspection()
    except DamageScoreError as fault:
        st.error(str(fault), icon=":material/error:")
        open_inspection(None)
        return None


def _cautions() -> None:
    st.caption(f":material/warning: {CAUTIONS}")


def _who() -> None:
    """Ask who works, here too: on a narrow screen the sidebar is folded away."""
    if inspector():
        return

    def take() -> None:
        st.session_state["inspector_name"] = st.session_state["who-here"]

    with st.container(border=True):
        st.text_input(
            "Who is working?", key="who-here", placeholder="Your name, then Enter",
            on_change=take,
        )  # fmt: skip
        st.caption("Your name goes into every change. Until then the record is read-only.")


def _head(inspection: Inspection) -> None:
    part = inspection.part
    name = " · ".join(x for x in (part.part_number, part.serial_number) if x)
    title, close = st.columns([5, 1.3], vertical_alignment="center")
    title.title(name or "Part without a number")
    close.button(
        "Another part", key="close", icon=":material/add:", on_click=open_inspection,
        args=(None,), width="stretch",
    )  # fmt: skip
    with st.container(horizontal=True, vertical_alignment="center"):
        if inspection.signature is not None:
            st.badge("✓ Signed, locked", color="green")
        else:
            st.badge("Not signed", color="gray")
        if inspection.assessment is not None:
            outcome_badge(inspection.assessment["outcome"])
        if inspection.limit_set is not None and inspection.limit_set["invented"]:
            invented_badge()
        facts = [f"started {when(inspection.created_at)}"]
        facts += [f"work order {part.work_order}"] if part.work_order else []
        st.caption(" · ".join(facts))
    if inspection.supersedes:
        st.caption(f"Supersedes {inspection.supersedes[:8]}: {inspection.supersede_reason}")


def _stepper(inspection: Inspection) -> str:
    if "go_to_step" in st.session_state:
        st.session_state["step"] = st.session_state.pop("go_to_step")
    if st.session_state.get("step") not in STEPS:
        st.session_state["step"] = st.query_params.get("step", "part")
    if st.session_state["step"] not in STEPS:
        st.session_state["step"] = "part"
    marks = step_marks(inspection)
    numbers = {step: number for number, step in enumerate(STEPS, start=1)}
    chosen = st.segmented_control(
        "Step", list(STEPS), required=True, key="step", label_visibility="collapsed",
        format_func=lambda s: f"{numbers[s]} {STEPS[s][0]}{marks[s]}",
    )  # fmt: skip
    step = chosen or "part"
    st.query_params["step"] = step
    return step


def step_marks(inspection: Inspection) -> dict[str, str]:
    """What each step's name carries: how much is there, or that something is left to do."""
    counts = {"photos": len(inspection.photos), "hand": len(inspection.hand)}
    marks = {step: f" · {counts[step]}" if counts.get(step) else "" for step in STEPS}
    if n_proposed(inspection):
        marks["findings"] = " · to review"
    return marks


def step_done(inspection: Inspection, step: str) -> bool:
    """True when nothing in a step keeps the inspection from going on."""
    if step == "photos":
        return bool(inspection.photos)
    if step == "findings":
        return bool(inspection.photos) and not n_proposed(inspection)
    return inspection.assessment is not None if step == "limits" else True


def left_to_do(inspection: Inspection, step: str) -> str:
    """What a step still asks for, in a sentence; empty where nothing."""
    if step_done(inspection, step):
        refused = [p for p in inspection.photos if not p.measurement["quality"]["usable"]]
        if step == "photos" and refused:
            return f"Refused photos, which prove nothing: {len(refused)}. Retake what you can."
        return ""
    if step == "photos" or (step == "findings" and not inspection.photos):
        return "Add a photo first; without one only what is measured by hand counts."
    if step == "findings":
        n = n_proposed(inspection)
        return f"Confirm or reject {n} finding{'s' if n > 1 else ''} before you sign."
    return "Choose the limits to compare with; a record cannot be signed without."


def _onwards(inspection: Inspection, step: str) -> None:
    names = list(STEPS)
    after = names.index(step) + 1
    if after == len(names):
        return

    def go() -> None:
        st.session_state["step"] = names[after]

    left = left_to_do(inspection, step)
    if left:
        st.caption(f":material/arrow_right: {left}")
    st.button(
        f"Next: {STEPS[names[after]][0]}", key="next", icon=":material/arrow_forward:",
        type="primary" if step_done(inspection, step) else "secondary",
        icon_position="right", on_click=go,
    )  # fmt: skip
