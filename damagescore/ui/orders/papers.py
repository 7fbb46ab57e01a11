"""Papers of an order as downloads: summary, and job cards to print."""

import io
import tempfile
import zipfile
from pathlib import Path

import streamlit as st

from damagescore.orders.job_cards import write_job_cards
from damagescore.orders.papers import order_pdf, summary_csv
from damagescore.orders.record import Order
from damagescore.ui.offer import offer
from damagescore.ui.orders.kept import results_of
from damagescore.ui.session import unit


def papers(order: Order) -> None:
    """Offer the papers; they are written when asked for."""
    st.subheader("Papers")
    name = "".join(c if c.isalnum() or c in "-_." else "-" for c in order.number)
    with st.container(horizontal=True):
        if any(p.inspection_id for p in order.parts):
            # Asked for here: the file is made outside of the page's run.
            results, shown = results_of(order), unit()
            offer(
                "Summary, PDF", lambda: order_pdf(order, results, unit=shown),
                file_name=f"{name}-order.pdf", mime="application/pdf", key="order-pdf",
                icon=":material/download:",
            )  # fmt: skip
            offer(
                "Summary, CSV", lambda: summary_csv(order, results),
                file_name=f"{name}-summary.csv", mime="text/csv", key="order-csv",
                icon=":material/download:",
            )  # fmt: skip
        offer(
            "Job cards to print", lambda: job_cards(order), file_name=f"{name}-jobcards.zip",
            mime="application/zip", key="order-cards", icon=":material/qr_code_2:",
        )  # fmt: skip
    st.caption(
        "A job card has a QR code beside the squares of the scale card: in the photo it gives "
        "the scale and says which part, and on a round edge which position, the photo is of."
    )


def job_cards(order: Order) -> bytes:
    """All job cards of an order in one ZIP file."""
    file = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(file, "w") as packed:
        for path in write_job_cards(order, Path(folder)):
            packed.write(path, path.name)
    return file.getvalue()
