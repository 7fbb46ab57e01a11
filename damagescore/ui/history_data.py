"""What the history pages read from the store, kept while the records stay the same."""

import streamlit as st

from damagescore.follow.same import TwoLooks, follow_findings, two_looks
from damagescore.history.advice import ReinspectionRule
from damagescore.history.fleet import FleetRow, fleet_of
from damagescore.history.lives import LeftOut, Life, lives_of
from damagescore.history.record import Axis
from damagescore.history.series import limit_set_of
from damagescore.report.followed import Followed
from damagescore.ui.session import data_folder, store

MOST_RECORDS = 1000
"""Newest records that a page reads; with more, the oldest are left out and it says so."""

Keys = tuple[str, tuple[tuple[str, int], ...]]
"""Data folder, then id and revision of each record: one revision never changes."""


def record_keys() -> tuple[Keys, int]:
    """Give the keys of the standing records, and how many were too old to be read."""
    found = store().search(limit=MOST_RECORDS + 1)
    keys = tuple((s.id, s.revision) for s in found[:MOST_RECORDS] if s.superseded_by is None)
    return (str(data_folder()), keys), max(len(found) - MOST_RECORDS, 0)


@st.cache_resource(max_entries=4, show_spinner="Reading the records…")
def lives(keys: Keys, axis: Axis) -> tuple[tuple[Life, ...], tuple[LeftOut, ...]]:
    """Lives of all parts, read anew only when a record changed."""
    kept = store()
    return lives_of((kept.load(name) for name, _ in keys[1]), axis=axis)


@st.cache_resource(max_entries=8, show_spinner="Fitting the histories…")
def fleet(keys: Keys, axis: Axis, rule: ReinspectionRule) -> tuple[FleetRow, ...]:
    """The fleet table."""
    return fleet_of(lives(keys, axis)[0], rule=rule)


def followed(life: Life) -> Followed | None:
    """Every finding of a life followed through its photos."""
    return _followed(_state(life), life)


def laid(life: Life, first: int, second: int, *, lines: bool) -> TwoLooks | None:
    """Two inspections of a life laid on one another."""
    return _laid(_state(life), life, first, second, lines)


@st.cache_resource(max_entries=8, show_spinner="Laying the photos on one another…")
def _followed(state: str, _life: Life) -> Followed | None:  # noqa: ARG001 - it names the result
    return follow_findings(_life, store().photo_bytes, limit_set=limit_set_of(_life))


@st.cache_resource(max_entries=12, show_spinner="Laying the photos on one another…")
def _laid(
    state: str,  # noqa: ARG001 - it names the result
    _life: Life,
    first: int,
    second: int,
    lines: bool,
) -> TwoLooks | None:
    earlier, later = _life.inspections[first], _life.inspections[second]
    return two_looks(earlier, later, _life, store().photo_bytes, lines=lines)


def _state(life: Life) -> str:
    """Tells a life and the state of its records: every change adds an edit."""
    states = "|".join(f"{i.id}:{len(i.edits)}" for i in life.inspections)
    return f"{data_folder()}#{life.number}#{life.axis}#{states}"
