"""Step 2: photos, with what each is good for."""

import streamlit as st

from damagescore.inspection import n_proposed
from damagescore.inspection.record import Inspection
from damagescore.ui.inspect.adding import adding
from damagescore.ui.inspect.measuring_panel import measuring_panel, window_opened
from damagescore.ui.inspect.photo_table import photo_table, replaced_photos
from damagescore.ui.inspect.photo_words import worst_outcome
from damagescore.ui.session import told


def photos_step(inspection: Inspection, *, locked: bool) -> None:
    """Show what came of each photo, and add more."""
    st.subheader("Photos")
    window_opened(False)
    with told():
        measuring_panel(inspection.id, locked=locked)
        if not locked:
            adding(inspection)
        if inspection.photos:
            st.caption(counts(inspection))
            photo_table(inspection, locked=locked)
        elif locked:
            st.info("No photos were added.")
        replaced_photos(inspection)


def counts(inspection: Inspection) -> str:
    """How many photos there are, by what they are good for."""
    worst = [worst_outcome(p.measurement["quality"]) for p in inspection.photos]
    said = [f"{len(worst)} photos" if len(worst) > 1 else "1 photo"]
    said += [f"{n} refused"] if (n := worst.count("refuse")) else []
    said += [f"{n} with a warning"] if (n := worst.count("warn")) else []
    said += [f"{n} findings to review"] if (n := n_proposed(inspection)) else []
    return " · ".join(said)
