"""A photo that leaves its layers in doubt is told their number."""

from dataclasses import replace
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from damagescore.measure import MeasureOptions
from damagescore.ui.inspect import photo_change
from tests.ui.filled import record


def _card() -> None:
    import streamlit as st  # noqa: PLC0415  # it runs as a script of its own

    from damagescore.ui.inspect.photo_change import tell_layers  # noqa: PLC0415

    inspection = st.session_state["inspection"]
    tell_layers(inspection, inspection.photos[0])


def test_the_photo_is_measured_again_with_the_number_that_was_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[MeasureOptions] = []

    def hand_in(inspection: Any, sha256: str, name: str, *, options: MeasureOptions) -> None:
        asked.append(options)

    monkeypatch.setattr(photo_change, "hand_in_again", hand_in)
    inspection = record()
    (entry,) = inspection.photos
    kept = MeasureOptions.from_dict(entry.options)
    app = AppTest.from_function(_card, default_timeout=60)
    app.session_state["inspection"] = inspection
    app.run()
    # What was found is not offered: it would be agreed to, not counted.
    assert app.number_input(key=f"count-{entry.sha256}").value is None
    assert app.button(key=f"count-go-{entry.sha256}").disabled
    app.number_input(key=f"count-{entry.sha256}").set_value(7).run()
    app.button(key=f"count-go-{entry.sha256}").click().run()
    assert not app.exception
    assert asked == [replace(kept, n_layers=7)]
