"""Step 5: compare with the limits."""

import math
from typing import Any

import streamlit as st

from damagescore.inspection.record import Inspection
from damagescore.limits import Assessment, CriterionResult, LimitSet
from damagescore.quantity import Measured
from damagescore.report.criteria import limit_text, value_text
from damagescore.report.words import OUTCOMES, SCORE_MEANING
from damagescore.ui.edits import assess_with
from damagescore.ui.limit_choice import Choice, choices, load_choice
from damagescore.ui.session import flash, told, unit
from damagescore.ui.usage_bar import UsageBar
from damagescore.ui.words import invented_badge, outcome_badge, outcome_words


def limits_step(inspection: Inspection, *, locked: bool) -> None:
    """Choose a limit set and show the result of each criterion."""
    st.subheader("Limits")
    if not locked:
        with told():
            _choose(inspection)
    if inspection.assessment is None or inspection.limit_set is None:
        st.info(
            "Choose the limit set that your maintenance data give for this part. "
            "Make one under *Limit sets* if there is none."
        )
        return
    assessment = Assessment.from_dict(inspection.assessment)
    limit_set = LimitSet.from_dict(inspection.limit_set)
    summary(assessment)
    for result in assessment.results:
        with st.container(border=True):
            _criterion(result, guard_factor=limit_set.decision.guard_factor)
    st.caption(limit_set.decision.text)
    st.caption(
        "The bar is filled to the value, the whisker is its 95 % interval, the upright line "
        "is the limit and the hatched zone around it is where nothing is decided."
    )


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
            f"{assessment.n_proposed} proposed findings are not reviewed and count as damage. "
            f"With reviewed findings only: {outcome_words(assessment.confirmed_outcome)}, "
            f"score {score_words(assessment.confirmed_score)}.",
            icon=":material/pending_actions:",
        )
    for note in assessment.notes:
        # What is invented or not reviewed is said above, and louder.
        if "proposed" not in note and "invented" not in note:
            st.caption(note)


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


def _criterion(result: CriterionResult, *, guard_factor: float) -> None:
    words, badge = st.columns([3, 2], gap="medium", vertical_alignment="top")
    words.markdown(f"**{result.text}**")
    with badge:
        outcome_badge(result.outcome)
    bar, numbers = st.columns([3, 2], gap="medium", vertical_alignment="center")
    with numbers:
        st.markdown(f"{_value(result)} · {limit_text(result, unit())}")
        st.caption(" · ".join(_details(result)))
    with bar:
        if result.usage is not None and math.isfinite(result.usage):
            _bar(result, guard_factor=guard_factor)
        elif result.usage is not None:
            st.markdown("Damage where the limit allows none.")
        else:
            st.caption(result.reason)
    if result.usage is not None and result.reason:
        st.caption(result.reason)


def _value(result: CriterionResult) -> str:
    value = result.value
    if isinstance(value, Measured) and value.value == 0 and value.u == 0:
        return "none found"
    return value_text(value, unit())


def _bar(result: CriterionResult, *, guard_factor: float) -> None:
    assert result.usage is not None
    u = result.value.u if isinstance(result.value, Measured) else 0.0
    bar = UsageBar(
        usage=result.usage,
        u_usage=result.u_usage or 0.0,
        half_zone=guard_factor * u / result.limit,
        outcome=result.outcome,
    )
    st.html(bar.to_html())


def _details(result: CriterionResult) -> list[str]:
    details = []
    if result.usage is not None and math.isfinite(result.usage):
        details.append(f"usage {100 * result.usage:.0f} %")
    if result.probability_exceeding is not None:
        details.append(f"probability of exceeding {probability_words(result)}")
    if result.item:
        details.append(result.item)
    return details


def probability_words(result: CriterionResult) -> str:
    """Show a probability without claiming certainty."""
    share = result.probability_exceeding or 0.0
    if share < 0.001:
        return "below 0.1 %"
    return "above 99.9 %" if share > 0.999 else f"{100 * share:.1f} %"
