"""What the last inspection of a part found, shown where a new one begins."""

import streamlit as st

from damagescore.inspection.record import Inspection
from damagescore.limits import Assessment, LimitSet
from damagescore.ui.inspect.criteria import result_rows
from damagescore.ui.inspect.photo_words import options_words
from damagescore.ui.last_time import last_options
from damagescore.ui.session import unit
from damagescore.ui.words import disposition_words, invented_badge, outcome_badge


def last_panel(last: Inspection) -> None:
    """Show date, hours, result by criterion, decision, limits and how photos were taken."""
    with st.container(border=True):
        hours = "" if last.part.hours is None else f" at {last.part.hours:g} h"
        st.markdown(f"**Last inspection: {last.created_at[:10]}{hours}**")
        with st.container(horizontal=True, vertical_alignment="center"):
            st.badge(
                "✓ Signed" if last.signature else "Not signed",
                color="green" if last.signature else "gray",
            )
            outcome_badge(None if last.assessment is None else last.assessment["outcome"])
            if last.limit_set is not None and last.limit_set["invented"]:
                invented_badge()
        for line in _facts(last):
            st.caption(line)
        if last.assessment is not None and last.limit_set is not None:
            guard = LimitSet.from_dict(last.limit_set).decision.guard_factor
            results = Assessment.from_dict(last.assessment).results
            st.html(result_rows(results, guard_factor=guard))


def _facts(last: Inspection) -> list[str]:
    said = []
    if last.signature is not None:
        said.append(f"Decided: {disposition_words(last.signature.disposition).lower()}.")
    if last.limit_set is not None:
        revision = last.limit_set["revision"]
        said.append(
            f"Limits: {last.limit_set['title']}{f', revision {revision}' if revision else ''}. "
            "Taken over for a new inspection: check that they are still in force."
        )
    options = last_options(last, None)
    if options is not None:
        said.append(f"Photos: {options_words(options, unit=unit())}. Taken over too.")
    return said
