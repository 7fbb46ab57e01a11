"""The scale of grades: shown, and changed by a further version."""

from collections.abc import Mapping
from typing import Any

import streamlit as st

from damagescore.training.kept import Library
from damagescore.training.scale import GradeScale, Step
from damagescore.ui.session import flash
from damagescore.ui.thumbnails import thumbnail


def grades_tab(kept: Library, who: str) -> None:
    """Show the steps with their pictures; let a named person change them."""
    scale = kept.scale()
    st.write(
        "A grade follows from how much of a removal limit is used: 100 % is at the limit. The "
        "default is our own; set the steps that your organisation uses."
    )
    st.caption(f"{scale.name}, version {scale.version}")
    _pictures(scale)
    if not who:
        st.info("Write your name into the field in the sidebar to change the scale.")
        return
    with st.expander("Change the scale"):
        _form(kept, scale)


def _pictures(scale: GradeScale) -> None:
    for step, column in zip(scale.steps, st.columns(len(scale.steps)), strict=True):
        with column:
            st.markdown(f"**{step.grade}**")
            if step.picture_sha256:
                st.image(thumbnail(step.picture_sha256), width="stretch")
            st.caption(step.label)


def _form(kept: Library, scale: GradeScale) -> None:
    with st.form("scale-form"):
        name = st.text_input("Name of the scale", value=scale.name, key="scale-name")
        rows = st.data_editor(
            [
                {
                    "grade": s.grade, "words": s.label,
                    "up to, % of the limit": None if s.up_to_usage is None
                    else 100 * s.up_to_usage,
                }
                for s in scale.steps
            ],
            num_rows="dynamic", hide_index=True, key="scale-rows", width="stretch",
        )  # fmt: skip
        st.caption("The last step has no upper boundary: leave it empty.")
        if st.form_submit_button("Keep as a new version", key="scale-submit"):
            pictures = {step.grade: step.picture_sha256 for step in scale.steps}
            steps = tuple(_step(row, pictures) for row in rows if row.get("grade") is not None)
            kept.keep_scale(GradeScale(name=name, version=scale.version + 1, steps=steps))
            flash(f"Version {scale.version + 1} of the scale is kept. Photos that were graded "
                  "before keep their version.")  # fmt: skip
            st.rerun()


def _step(row: dict[str, Any], pictures: Mapping[int, str]) -> Step:
    share = row.get("up to, % of the limit")
    return Step(
        grade=int(row["grade"]), label=str(row.get("words") or ""),
        up_to_usage=None if share is None else float(share) / 100,
        picture_sha256=pictures.get(int(row["grade"]), ""),
    )  # fmt: skip
