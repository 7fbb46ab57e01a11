"""Step 5: compare with the limits."""

import math
from typing import Any

import streamlit as st

from damagescore.inspection.record import Inspection
from damagescore.limits import Assessment, LimitSet
from damagescore.report.words import OUTCOMES, SCORE_MEANING
from damagescore.ui.access import page_allowed
from damagescore.ui.edits import assess_with
from damagescore.ui.inspect.criteria import BAR_WORDS, criteria
from damagescore.ui.limit_choice import Choice, choices, load_choice
from damagescore.ui.session import flash, told
from damagescore.ui.words import invented_badge, outcome_words


def limits_step(inspection: Inspection, *, locked: bool) -> None:
    """Choose a limit set and show the result of each criterion."""
    st.subheader("Limits")
    if not locked:
        with told():
            _choose(inspection)
    if inspection.assessment is None or inspection.limit_set is None:
        st.info(
            "Choose the limit set that your maintenance data give for this part. Each of its "
            "criteria is then shown here as a bar against its limit."
        )
        if page_allowed("limit_sets.py") and st.button(
            "Make a limit set", key="to-limit-sets", icon=":material/rule:"
        ):
            st.switch_page(st.session_state["pages"]["Limit sets"])
        return
    assessment = Assessment.from_dict(inspection.assessment)
    limit_set = LimitSet.from_dict(inspection.limit_set)
    summary(assessment)
    with told():
        criteria(inspection, assessment, guard_factor=limit_set.decision.guard_factor)
    st.caption(limit_set.decision.text)
    st.caption(BAR_WORDS)


def summary(assessment: Assessment) -> None:
    """Show the result of the part, its score and what must be known with it."""
    with st.container(border=True):
        if assessment.invented:
            invented_badge()
        result, score = st.columns([3, 1], vertical_alignment="center")
        result.markdown(f"### {outcome_words(assessment.outcome)}")
        result.markdown(OUTCOMES[assessment.outcome][1])
        score.metric("Score", score_words(assessment.score), help=SCORE_MEANING)
        source = f" · {assessment.source_document}" if assessment.source_document else ""
        revision = f", revision {assessment.revision}" if assessment.revision else ""
        st.caption(f"{assessment.title}{revision}{source}")
    if assessment.n_proposed:
        st.warning(
            f"{_proposed(assessment.n_proposed)} as damage. "
            f"With reviewed findings only: {outcome_words(assessment.confirmed_outcome)}, "
            f"score {score_words(assessment.confirmed_score)}.",
            icon=":material/pending_actions:",
        )
    for note in assessment.notes:
        # What is invented or not reviewed is said above, and louder.
        if "proposed" not in note and "invented" not in note:
            st.caption(note)


def _proposed(count: int) -> str:
    if count == 1:
        return "1 proposed finding is not reviewed and counts"
    return f"{count} proposed findings are not reviewed and count"


def score_words(score: float | None) -> str:
    """Show a score; infinite means damage where none is allowed."""
    if score is None:
        return "–"
    return "over" if math.isinf(score) else f"{score:.0f}"


def _choose(inspection: Inspection) -> None:
    options = choices()
    now = _current(inspection.limit_set, options)

    def chosen() -> None:
        choice = st.session_state[f"limits-{inspection.id}"]
        if choice is None:
            return
        fault = assess_with(inspection.id, load_choice(choice))
        if fault is not None:
            flash(str(fault), bad=True)

    st.selectbox(
        "Limit set", options, index=now, format_func=lambda c: c.label,
        key=f"limits-{inspection.id}", placeholder="Choose a limit set", on_change=chosen,
    )  # fmt: skip


def _current(limit_set: Any, options: list[Choice]) -> int | None:
    if limit_set is None:
        return None
    same = (limit_set["title"], limit_set["revision"])
    return next((i for i, c in enumerate(options) if (c.title, c.revision) == same), None)
