"""The papers of an inspection as downloads."""

import json
import tempfile
from pathlib import Path

import streamlit as st

from damagescore.inspection import inspection_from_dict, inspection_to_dict
from damagescore.inspection.record import Inspection
from damagescore.inspection.seal import sorted_json
from damagescore.quantity import Length
from damagescore.records.chain import sha256_of
from damagescore.report import write_report
from damagescore.ui.access import allowed
from damagescore.ui.session import inspector, store, told, unit

KINDS = (
    ("report.pdf", "PDF report", "application/pdf"),
    ("record.json", "JSON record", "application/json"),
    ("findings.csv", "CSV of findings", "text/csv"),
)


def downloads(inspection: Inspection, *, place: str = "sign") -> None:
    """Offer PDF, JSON and CSV; they are written when one is asked for."""
    if not allowed("export"):
        st.caption("Your role takes no papers away.")
        return
    plain = sorted_json(inspection_to_dict(inspection))
    asked = f"papers-{place}-{inspection.id}"
    # A report of many photos takes seconds, so it is not written unasked.
    if inspection.signature is None and st.session_state.get(asked) != sha256_of(plain):
        if not st.button(
            "Write the papers", key=f"{asked}-button", icon=":material/description:"
        ):
            return
        st.session_state[asked] = sha256_of(plain)
    with told(), st.spinner("Writing the papers…"):
        files = papers(plain, unit=unit())
        with st.container(horizontal=True):
            for name, label, mime in KINDS:
                st.download_button(
                    label, files[name], file_name=_name(inspection, name), mime=mime,
                    key=f"{place}-{name}-{inspection.id}", icon=":material/download:",
                    on_click=_noted, args=(inspection.id, name),
                )  # fmt: skip


def _noted(inspection_id: str, name: str) -> None:
    with told():
        store().note("export", by=inspector(), target=inspection_id, detail=name)


@st.cache_data(max_entries=8, show_spinner=False)
def papers(plain: str, *, unit: Length) -> dict[str, bytes]:
    """Write the papers of an inspection given as JSON text; file name and content."""
    inspection = inspection_from_dict(json.loads(plain))
    with tempfile.TemporaryDirectory() as folder:
        files = write_report(inspection, store().photo_bytes, Path(folder), unit=unit)
        return {p.name: p.read_bytes() for p in (files.pdf, files.json, files.csv)}


def _name(inspection: Inspection, name: str) -> str:
    part = inspection.part
    stem = "-".join(x for x in (part.part_number, part.serial_number) if x) or "inspection"
    safe = "".join(c if c.isalnum() or c in "-_." else "-" for c in stem)
    return f"{safe}-{inspection.id[:8]}-{name}"
