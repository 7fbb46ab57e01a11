"""Page: train eyes with graded photos."""

import streamlit as st

from damagescore.training.kept import Library
from damagescore.ui.access import allowed
from damagescore.ui.documents import documents
from damagescore.ui.session import inspector, show_flashes, told
from damagescore.ui.training.grades import grades_tab
from damagescore.ui.training.practice import practice_tab
from damagescore.ui.training.record import record_tab
from damagescore.ui.training.shelf import library_tab

TABS = ("Practice", "Record", "Graded library", "Scale of grades")


def training_page() -> None:
    """Draw the page."""
    st.title("Training")
    with st.container():  # its place stays, so the chosen tab does
        show_flashes()
    kept = Library(documents())
    practice, record, *more = st.tabs(TABS if allowed("library") else TABS[:2])
    with practice, told():
        practice_tab(kept, inspector())
    with record, told():
        record_tab(kept, inspector())
    # A trainee sees an answer only after committing, so neither library nor scale before.
    for tab, draw in zip(more, (library_tab, grades_tab), strict=False):
        with tab, told():
            draw(kept, inspector())
