"""What the last inspection of a part found, shown where a new one begins."""

import math
from html import escape

import streamlit as st

from damagescore.inspection.record import Inspection
from damagescore.limits import Assessment, CriterionResult, LimitSet
from damagescore.quantity import Measured
from damagescore.report.criteria import limit_text
from damagescore.ui.inspect.criteria import bar_of
from damagescore.ui.inspect.photo_words import options_words
from damagescore.ui.last_time import last_options, shown
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
            st.html("".join(_result(r, guard_factor=guard) for r in results))


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


def _result(result: CriterionResult, *, guard_factor: float) -> str:
    value = (
        shown(result.value, unit=unit())
        if isinstance(result.value, Measured)
        else "not measured"
    )
    bar = ""
    if result.usage is not None and math.isfinite(result.usage):
        bar = bar_of(result, guard_factor=guard_factor).to_html()
    return (
        f'<div class="ds-last"><span>{escape(result.text)}</span><div>{bar}</div>'
        f"<b>{escape(value)}</b><small>{escape(limit_text(result, unit()))}</small></div>"
    )
