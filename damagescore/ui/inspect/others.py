"""What others changed while the page stands open."""

import streamlit as st

from damagescore.inspection.together import edits_of_others, words_of_others
from damagescore.ui.session import desk, load, store
from damagescore.ui.words import as_written

EVERY_SECONDS = 10.0


def others_panel(inspection_id: str) -> None:
    """Tell when somebody else changed the record since this page was drawn.

    The page is not drawn anew by itself: that could move what somebody is looking at.
    """
    st.fragment(_panel, run_every=EVERY_SECONDS)(inspection_id, store().revision(inspection_id))


def _panel(inspection_id: str, revision: int) -> None:
    # A photo that was measured is an edit too; the panel of measuring draws the page then.
    if store().revision(inspection_id) == revision or desk().progress(inspection_id):
        return
    fresh = edits_of_others(
        load(inspection_id),
        seen=st.session_state.get(f"shown-{inspection_id}"),
        own=st.session_state.get(f"own-{inspection_id}", ()),
    )
    if not fresh:
        return
    # It floats over the page: what somebody is about to click must not move.
    with st.container(key="others", horizontal=True, vertical_alignment="center"):
        st.markdown(f":material/group: {as_written(words_of_others(fresh))}")
        if st.button("Show", key="show-others", icon=":material/refresh:"):
            st.rerun()
