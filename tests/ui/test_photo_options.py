"""How a photo is measured, as the fields ask for it."""

import math
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest


def _fields() -> None:
    import streamlit as st  # noqa: PLC0415 - this function is run as a page of its own

    from damagescore.ui.inspect.photo_options import option_fields  # noqa: PLC0415

    start = st.session_state.get("start")
    st.session_state["asked"] = option_fields("again-x", smallest_limit_mm=None, start=start)


def test_how_well_a_card_stands_at_its_clock_position_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    app = AppTest.from_function(_fields, default_timeout=60).run()
    within = app.number_input(key="within-again-x")
    assert within.value == 5.0
    assert app.session_state["asked"].u_clock_deg == pytest.approx(5 / math.sqrt(3))  # rounding
    within.set_value(2.0)
    app.run()
    asked = app.session_state["asked"]
    assert asked.u_clock_deg == pytest.approx(2 / math.sqrt(3))  # rounding
    again = AppTest.from_function(_fields, default_timeout=60)
    again.session_state["start"] = asked.to_dict()
    again.run()
    assert again.number_input(key="within-again-x").value == 2.0
    assert again.session_state["asked"].u_clock_deg == asked.u_clock_deg
