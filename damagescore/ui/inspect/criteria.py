"""The criteria of an assessment: each as a bar against its limit, with last time's value."""

import math
import re
from collections.abc import Iterable
from html import escape

import streamlit as st

from damagescore.inspection.record import Inspection
from damagescore.limits import Assessment, CriterionResult
from damagescore.quantity import Measured
from damagescore.report.criteria import limit_text, outcome_text, value_text
from damagescore.ui.last_time import Since, change_words, last_of, last_results, shown
from damagescore.ui.session import unit
from damagescore.ui.usage_bar import UsageBar
from damagescore.ui.words import OUTCOME_SIGNS, outcome_badge

BAR_WORDS = (
    "The bar is filled to the value, the whisker is its 95 % interval, the upright line is "
    "the limit and the hatched zone around it is where nothing is decided."
)


def criteria(inspection: Inspection, assessment: Assessment, *, guard_factor: float) -> None:
    """Draw all criteria of an assessment."""
    last = last_of(inspection)
    before = last_results(last)
    for result in assessment.results:
        change = ""
        if last is not None:
            since = Since.between(last, inspection)
            change = change_words(result, before.get(result.id), since, unit=unit())
        with st.container(border=True):
            criterion(result, guard_factor=guard_factor, change=change)


def criterion(result: CriterionResult, *, guard_factor: float, change: str = "") -> None:
    """Draw one criterion: its words, the bar, value and limit, and what changed."""
    words, badge = st.columns([3, 2], gap="medium", vertical_alignment="top")
    words.markdown(f"**{result.text}**")
    with badge:
        outcome_badge(result.outcome, words=outcome_text(result))
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
            st.caption(reason_words(result))
    if result.usage is not None and result.reason:
        st.caption(reason_words(result))
    if change:
        st.caption(f":material/history: {change}")


def result_rows(results: Iterable[CriterionResult], *, guard_factor: float) -> str:
    """All criteria as rows of a table in HTML: words, bar, value and limit."""
    return "".join(_row(r, guard_factor=guard_factor) for r in results)


def _row(result: CriterionResult, *, guard_factor: float) -> str:
    value, bar = result.value, ""
    words = shown(value, unit=unit()) if isinstance(value, Measured) else "not measured"
    if result.usage is not None and math.isfinite(result.usage):
        bar = bar_of(result, guard_factor=guard_factor).to_html()
    partly = isinstance(value, Measured) and result.outcome == "not_measured"
    # Before a number a dash would read as a minus.
    sign = OUTCOME_SIGNS.get("not_fully_assessed" if partly else result.outcome, "")
    return (
        f'<div class="ds-last"><span>{escape(result.text)}</span><div>{bar}</div>'
        f"<b>{sign} {escape(words)}</b>"
        f"<small>{escape(limit_text(result, unit()))}</small></div>"
    )


def reason_words(result: CriterionResult) -> str:
    """Why a criterion is not complete, as Markdown: each item on a line of its own."""
    lines = re.split(r"(?<=\.) (?=(?:[^.:]*, )?photo \d+: )", result.reason)
    return "  \n".join(line[:1].upper() + line[1:] for line in lines)


def _value(result: CriterionResult) -> str:
    value = result.value
    if not isinstance(value, Measured):
        return "not measured"
    if value.value == 0 and value.u == 0:
        return "none found"
    return value_text(value, unit())


def _bar(result: CriterionResult, *, guard_factor: float) -> None:
    assert result.usage is not None
    st.html(bar_of(result, guard_factor=guard_factor).to_html())


def bar_of(result: CriterionResult, *, guard_factor: float) -> UsageBar:
    """The bar of a criterion whose usage is a finite number."""
    u = result.value.u if isinstance(result.value, Measured) else 0.0
    return UsageBar(
        usage=result.usage or 0.0,
        u_usage=result.u_usage or 0.0,
        half_zone=guard_factor * u / result.limit,
        outcome=result.outcome,
    )


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
