"""What is remembered of plain data, and what a browser is sent of it."""

from pathlib import Path
from typing import Any

import pytest
import streamlit as st

from damagescore.measurement import Measurement
from damagescore.ui.known import Known, measurement_from
from damagescore.ui.parts import hashed, kept_parts, unsent
from tests.ui.filled import filled


def test_the_same_object_is_made_once_and_an_equal_one_anew() -> None:
    made: list[Any] = []

    def make(plain: Any, unit: str) -> str:
        made.append(plain)
        return f"{plain['a']} {unit}"

    known, one, other = Known(make, most=4), {"a": 1}, {"a": 1}
    assert [known.of(x, u) for x, u in ((one, "mm"), (one, "mm"), (other, "mm"))] == [
        "1 mm"
    ] * 3
    assert made == [one, other]
    assert known.of(one, "in") == "1 in"
    several = [{"a": n} for n in range(9)]
    for plain in several:
        assert known.of(plain, "mm") == f"{plain['a']} mm"
    # The oldest were forgotten; an object that takes their place in memory is no match.
    assert known.of(one, "mm") == "1 mm"
    assert sum(x is one for x in made) == 3


def test_a_measurement_read_by_parts_is_the_one_read_whole(tmp_path: Path) -> None:
    plain = filled(tmp_path).photos[0].measurement
    read, whole = measurement_from(plain), Measurement.from_dict(plain)
    assert read.to_dict() == whole.to_dict()
    # An edit of a finding makes another mapping with the same layers: they are kept.
    edited = {**plain, "findings": plain["findings"][:1]}
    assert measurement_from(edited).edge is read.edge
    assert measurement_from(edited).findings[0] is read.findings[0]
    assert measurement_from({**plain, "layers": list(plain["layers"])}).edge is not read.edge


def test_a_part_is_sent_once_and_again_when_the_browser_lost_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    state: dict[str, Any] = {}
    monkeypatch.setattr(st, "session_state", state)
    one, two = hashed({"id": "crack-1"}), hashed({"id": "crack-2"})
    assert one[0] != two[0]
    assert unsent("ws", dict([one])) == dict([one])
    assert unsent("ws", dict([one, two])) == dict([two])
    assert unsent("ws", dict([one, two])) == {}
    assert kept_parts([one[0], "unknown"]) == dict([one])
    state["ws"] = {"lost": 5}
    assert unsent("ws", dict([one, two])) == dict([one, two])
    assert unsent("ws", dict([one, two])) == {}
