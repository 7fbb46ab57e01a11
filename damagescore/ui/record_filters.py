"""Further filters of the records page, folded away until they are wanted."""

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any

import streamlit as st

from damagescore.limits import hand_quantities
from damagescore.records import Filters
from damagescore.ui.words import KIND_WORDS, disposition_words

EARLIEST = date(2000, 1, 1)

DECISIONS = ("continue_in_service", "reinspect", "refer", "remove")

TEXTS = (
    ("signer", "Signed by"),
    ("person", "Worked on by"),
    ("gauge", "Gauge"),
    ("position", "Position"),
    ("limit_title", "Limit set"),
    ("limit_revision", "Revision of the limit set"),
)

DAYS = (
    ("created_from", "Started from"),
    ("created_to", "Started to"),
    ("signed_from", "Signed from"),
    ("signed_to", "Signed to"),
)

NUMBERS = (
    ("usage_min", "Score from"), ("usage_max", "Score to"),
    ("hours_min", "Hours from"), ("hours_max", "Hours to"),
    ("cycles_min", "Cycles from"), ("cycles_max", "Cycles to"),
)  # fmt: skip


def more_filters() -> dict[str, Any]:
    """Draw the filters; give those that are set, by the names that `Filters` has."""
    known = {f.name for f in fields(Filters)}
    chosen = {name for name in known if st.session_state.get(f"records-by-{name}")}
    label = f"More filters · {len(chosen)} set" if chosen else "More filters"
    with st.expander(label, icon=":material/filter_alt:"):
        given = {**_choices(), **_texts(), **_days(), **_numbers()}
    return {name: value for name, value in given.items() if value not in (None, "")}


def _choices() -> dict[str, Any]:
    kind, decision, hand = st.columns(3)
    hands: Mapping[str, str] = {k.name: k.label for k in hand_quantities()}
    return {
        "kind": kind.selectbox(
            "Kind of damage", list(KIND_WORDS), index=None, key="records-by-kind",
            format_func=KIND_WORDS.__getitem__, placeholder="Any",
        ),
        "disposition": decision.selectbox(
            "Decision", DECISIONS, index=None, key="records-by-disposition",
            format_func=disposition_words, placeholder="Any",
        ),
        "hand": hand.selectbox(
            "Measured by hand", list(hands), index=None, key="records-by-hand",
            format_func=hands.__getitem__, placeholder="Anything or nothing",
        ),
    }  # fmt: skip


def _texts() -> dict[str, Any]:
    given = {}
    for first in range(0, len(TEXTS), 3):
        for column, (name, label) in zip(st.columns(3), TEXTS[first : first + 3], strict=True):
            given[name] = column.text_input(label, key=f"records-by-{name}").strip()
    return given


def _days() -> dict[str, Any]:
    given = {}
    for column, (name, label) in zip(st.columns(4), DAYS, strict=True):
        day = column.date_input(
            label, value=None, key=f"records-by-{name}", format="YYYY-MM-DD",
            min_value=EARLIEST,
        )  # fmt: skip
        given[name] = day.isoformat() if isinstance(day, date) else None
    return given


def _numbers() -> dict[str, Any]:
    given = {}
    for first in range(0, len(NUMBERS), 2):
        row = NUMBERS[first : first + 2]
        for column, (name, label) in zip(st.columns(2), row, strict=True):
            given[name] = column.number_input(
                label, value=None, min_value=0.0, step=None, format="%g",
                key=f"records-by-{name}", placeholder="any",
            )  # fmt: skip
    return given
