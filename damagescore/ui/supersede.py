"""Supersede a signed record with a new one, for a reason."""

import streamlit as st

from damagescore.inspection.record import Inspection
from damagescore.ui.access import allowed
from damagescore.ui.edits import supersede
from damagescore.ui.session import inspector, open_inspection, store


def supersede_box(inspection: Inspection) -> None:
    """Offer to supersede a signed record; show its successor where there is one."""
    after = next(
        (s.superseded_by for s in store().history(inspection.id) if s.id == inspection.id), None
    )
    if after is not None:
        st.info("This record was superseded.")
        st.button(
            "Open the newer record", key=f"newer-{inspection.id}",
            on_click=open_inspection, args=(after,),
        )  # fmt: skip
        return
    if not allowed("supersede"):
        return
    with st.expander("Supersede this record", icon=":material/update:"):
        st.write(
            "Makes a new, unsigned record with the same content to correct. Both are kept."
        )
        reason = st.text_input("Reason", key=f"supersede-why-{inspection.id}", max_chars=300)
        if st.button(
            "Supersede", key=f"supersede-{inspection.id}", disabled=not inspector(),
            help=None if inspector() else "Give your name first.",
        ):  # fmt: skip
            made = supersede(inspection.id, reason=reason)
            if isinstance(made, str):
                open_inspection(made)
                st.session_state["go_to_step"] = "part"
                st.rerun()
            st.error(str(made), icon=":material/error:")
