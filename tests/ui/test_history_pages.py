"""The pages about time: fleet, one part, comparison; empty, filled and awkward stores."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from damagescore.inspection import (
    Inspection,
    Part,
    add_photo,
    assess_inspection,
    new_inspection,
)
from damagescore.records import Store
from damagescore.ui import session
from tests.inspection_samples import BY, SHA, limits, line_finding, measurement
from tests.ui.browser import ROOT

MAIN = ROOT / "damagescore" / "ui" / "main.py"
SECONDS = 60  # the first page of a run reads all packages from disk


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    yield tmp_path
    session.desk().close()


def inspected(serial: str, hours: float | None, length_px: float, *, day: int) -> Inspection:
    part = Part(part_number="HV-2210", serial_number=serial, hours=hours)
    at = f"2031-03-{day:02d}T08:00:00+00:00"
    begun = new_inspection(part, by=BY, at=at, inspection_id=f"{serial}-{day}")
    found = measurement(line_finding("crack-1", (20.0, 20.0 + length_px)))
    one = add_photo(begun, sha256=SHA, name="a.jpg", measurement=found, by=BY, at=at)
    return assess_inspection(one, limits(), by=BY, at=at)


@pytest.fixture
def filled(folder: Path) -> Path:
    """Two parts over six inspections, 0.04 mm a pixel against a limit of 5 mm; one record
    without hours."""
    store = Store(folder)
    wobble = (0.5, -0.7, 0.4, -0.2, 0.6, -0.5)
    for serial, rate in (("0117", 12.0), ("0118", 5.0)):
        for i, extra in enumerate(wobble):
            store.save(inspected(serial, 100.0 * i, 20 + rate * i + extra, day=i + 1))
    store.save(inspected("0119", None, 30, day=9))
    store.close()
    return folder


def page(name: str, **params: str) -> AppTest:
    app = AppTest.from_file(str(MAIN), default_timeout=SECONDS)
    app.run()
    for key, value in params.items():
        app.query_params[key] = value
    app.switch_page(str(ROOT / "app_pages" / f"{name}.py")).run()
    return sound(app)


def sound(app: AppTest) -> AppTest:
    assert [e.message for e in app.exception] == []
    assert [e.value for e in app.error] == []
    return app


def test_an_empty_history_teaches(folder: Path) -> None:
    app = page("history")
    assert "second inspection" in app.info[0].value
    assert [b.key for b in app.button if b.key == "history-start"]


def test_records_without_hours_are_said(folder: Path) -> None:
    store = Store(folder)
    store.save(inspected("0119", None, 30, day=9))
    store.close()
    app = page("history")
    assert "serial number and hours" in app.info[0].value
    assert any("It has no hours." in m.value for m in app.markdown)


def test_the_fleet_lists_parts_nearest_their_limit_first(filled: Path) -> None:
    app = page("history")
    table = app.dataframe[0].value
    assert list(table["Part"]) == ["HV-2210 · 0117", "HV-2210 · 0118"]
    assert list(table["Limit used"]) == [64, 36]  # 79.5 and 44.5 px of 0.04 mm over 5 mm
    assert "1 record left out" in app.expander[0].label
    sound(app.segmented_control(key="fleet-order").set_value("Predicted time left").run())
    assert app.dataframe[0].value["Part"].iloc[0] == "HV-2210 · 0117"


def test_one_part_is_forecast_and_the_rule_acts(filled: Path) -> None:
    app = page("history", part="HV-2210 · 0117")
    words = " ".join(m.value for m in app.markdown)
    assert "h left" in words
    assert "Within" in words
    sound(app.number_input(key="next-HV-2210 · 0117-1").set_value(700.0).run())
    assert "Chance of passing it by 700 h" in " ".join(m.value for m in app.markdown)
    sound(app.selectbox(key="history-rule").set_value("share").run())
    assert "50 % of what is left" in " ".join(m.value for m in app.markdown)


def test_photos_that_are_not_at_hand_are_told(filled: Path) -> None:
    app = page("history", part="HV-2210 · 0117")
    sound(app.toggle(key="lay-HV-2210 · 0117-1").set_value(True).run())
    assert "no usable face photo" in app.info[0].value
    sound(app.toggle(key="follow-HV-2210 · 0117-1").set_value(True).run())
    assert any("Fewer than two inspections" in i.value for i in app.info)


def test_the_papers_of_a_part_are_written(filled: Path) -> None:
    app = page("history", part="HV-2210 · 0118")
    sound(app.button(key="history-papers-HV-2210 · 0118-1").click().run())
    assert [d.label for d in app.get("download_button")] == ["PDF report", "JSON"]


def test_cycles_leave_out_what_has_none(filled: Path) -> None:
    app = page("history")
    sound(app.segmented_control(key="history-axis").set_value("Cycles").run())
    assert "serial number and hours or cycles" in app.info[0].value


def test_an_empty_comparison_teaches(folder: Path) -> None:
    assert "two parts or more" in page("compare").info[0].value


def test_two_parts_are_compared(filled: Path) -> None:
    app = page("compare")
    assert "Choose two parts" in app.info[0].value
    both = ["HV-2210 · 0117", "HV-2210 · 0118"]
    sound(app.multiselect(key="compare-parts").set_value(both).run())
    sound(app.text_input(key=f"group-{both[1]}").set_value("New compound").run())
    words = " ".join(m.value for m in app.markdown)
    assert "not reached by 500 h" in words
    assert "no difference shown" in words
    sound(app.button(key="compare-papers").click().run())
    assert [d.label for d in app.get("download_button")] == ["PDF report", "JSON", "CSV"]
