"""The page of the check target, and its chart."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from damagescore.capability.standing import control_chart
from damagescore.chart import Dot, to_svg
from damagescore.ui import session
from damagescore.ui.camera_checks import camera_standings, camera_words
from damagescore.ui.documents import documents
from damagescore.ui.drift_chart import drift_chart
from tests.ui.browser import ROOT
from tests.ui.filled import filled

READING = {
    "name": "distance of the squares", "true": 88.0, "tolerance": 0.264, "passed": True,
    "measured": {"value": 88.044, "u": 0.05, "unit": "mm"},
}  # fmt: skip
BODY = {
    "passed": True, "camera": "Ockham 3 [x](y)", "mm_per_px": 0.04, "line_mm": 100.0,
    "by": "R. Olin", "photo_name": "a.jpg", "photo_sha256": "0" * 64, "readings": [READING],
    "tolerances": {"distance_percent": 0.3},
}  # fmt: skip


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    main = ROOT / "damagescore" / "ui" / "main.py"
    app = AppTest.from_file(str(main), default_timeout=60)  # reads all packages
    app.session_state["inspector_name"] = "R. Olin"
    app.run()
    yield app.switch_page(str(ROOT / "app_pages" / "check_target.py"))
    session.desk().close()


def _words(app: AppTest) -> str:
    assert [e.message for e in app.exception] == []
    return " ".join(m.value for m in (*app.markdown, *app.info))


def test_before_the_first_check_the_page_says_what_to_do(page) -> None:
    assert "No photo of the target was measured yet" in _words(page.run())


def test_each_camera_has_its_standing_and_its_name_is_no_markup(page) -> None:
    documents().add("target_check", "c1", BODY)
    words = _words(page.run())
    assert "Ockham 3 \\[x\\]\\(y\\)" in words
    assert "it holds until" in words


def test_a_failed_check_stands(page) -> None:
    documents().add("target_check", "c1", BODY)
    documents().add("target_check", "c2", {**BODY, "passed": False})
    assert "failed." in _words(page.run())


def test_how_long_a_check_holds_is_kept(page) -> None:
    app = page.run()
    app.number_input(key="target-days").set_value(7.0).run()
    (rule,) = documents().newest("target_rule")
    assert rule.body["valid_days"] == 7.0


def test_chart_says_what_it_shows_and_marks_what_is_beyond() -> None:
    values = [0.01, 0.02, 0.0, 0.015, 0.01, 0.02, 0.005, 0.01, 0.2]
    chart = drift_chart(
        control_chart(values), [f"<{v}>" for v in values], tolerance=0.3, unit="%", what="Error"
    )
    assert chart.told == "9 checks, last +0.2 %, tolerance 0.3 %, 1 beyond the control limits."
    dots = [m for m in chart.marks if isinstance(m, Dot)]
    assert [d.hollow for d in dots] == [k in control_chart(values).outside for k in range(9)]
    assert "&lt;0.2&gt;" in to_svg(chart)


def test_signing_says_how_the_camera_stands(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    inspection = filled(tmp_path)
    assert camera_words(inspection) == "unknown camera: The check target was never measured."
    documents().add("target_check", "c1", {**BODY, "camera": "unknown camera"})
    assert camera_standings(inspection)["unknown camera"].state == "valid"
    session.desk().close()
