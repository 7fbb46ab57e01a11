"""Page: train eyes with graded photos."""

import streamlit as st

from damagescore.training.kept import Library
from damagescore.ui.documents import documents
from damagescore.ui.session import inspector, show_flashes, told
from damagescore.ui.training.grades import grades_tab
from damagescore.ui.training.practice import practice_tab
from damagescore.ui.training.record import record_tab
from damagescore.ui.training.shelf import library_tab


def training_page() -> None:
    """Draw the page."""
    st.title("Training")
    with st.container():  # its place stays, so the chosen tab does
        show_flashes()
    practice, record, shelf, grades = st.tabs(
        ["Practice", "Record", "Graded library", "Scale of grades"]
    )
    kept = Library(documents())
    with practice, told():
        practice_tab(kept, inspector())
    with record, told():
        record_tab(kept, inspector())
    with shelf, told():
        library_tab(kept, inspector())
    with grades, told():
        grades_tab(kept, inspector())
