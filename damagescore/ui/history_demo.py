"""The demonstration part: eight inspections, measured when they are asked for."""

import streamlit as st

from damagescore.endurance.plan import read_plan
from damagescore.follow.sources import Gathered, inspections_of, keep
from damagescore.ui.demo import FOLDER
from damagescore.ui.limit_choice import demo_limit_set
from damagescore.ui.session import store

PLAN = FOLDER / "history" / "history.toml"


def demo_box() -> None:
    """Offer the demonstration part where its photos are installed."""
    if not PLAN.is_file():
        return
    st.caption(
        "Or look at an invented part over eight inspections; its photos are measured now, "
        "which takes some seconds each."
    )
    if st.button("Load the demonstration part", key="history-demo"):
        _load()
        st.rerun()


def _load() -> None:
    plan = read_plan(PLAN, fewest=1)
    part = plan.parts[0]
    gathered = Gathered(loaders=[lambda sha256: photos[sha256].read_bytes()])
    photos = {}
    with st.status("Measuring the photos…") as status:
        found = inspections_of(plan, part, limits=demo_limit_set(), workers=1)
        for number, (inspection, path) in enumerate(found, start=1):
            photos[inspection.photos[0].sha256] = path
            gathered.inspections.append(inspection)
            status.update(label=f"{number} of {len(part.looks)} photos measured")
        keep(gathered, store())
