"""The page of lens profiles, and the choice of one for a photo."""

from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from damagescore.scale.calibrate import calibrate
from damagescore.scale.lens import lens_text, read_lens
from damagescore.ui.lenses import lens_store
from tests.lens_boards import views
from tests.ui.browser import ROOT

MAIN = ROOT / "damagescore" / "ui" / "main.py"
NAME = "close-up lens at 220 mm"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    return tmp_path


def _page() -> AppTest:
    app = AppTest.from_file(str(MAIN), default_timeout=60).run()
    app.switch_page(str(ROOT / "app_pages" / "lenses.py")).run()
    return _sound(app)


def _sound(app: AppTest) -> AppTest:
    assert [e.message for e in app.exception] == []
    return app


def _with(calibration: object) -> AppTest:
    app = _page()
    app.session_state["calibration"] = calibration
    return _sound(app.run())


def test_empty_page_tells_what_to_do(folder: Path) -> None:
    app = _page()
    assert "No lens profile is kept yet" in app.info[0].value
    assert app.button(key="lens-run").disabled


def test_a_good_calibration_is_saved_listed_and_deleted(folder: Path) -> None:
    found = calibrate(views(np.random.default_rng(1)))
    app = _with(found)
    assert not app.error
    app.text_input(key="lens-name-0").set_value(NAME)
    save = next(b for b in app.button if b.label == "Save the profile")
    _sound(save.click().run())
    assert f"Kept: {NAME}." in app.success[0].value
    (path,) = (folder / "lenses").glob("*.json")
    kept = read_lens(path)
    assert (kept.name, kept.focal_px) == (NAME, found.lens.focal_px)
    _sound(app.button(key=f"lens-drop-{NAME}").click().run())
    assert lens_store().all() == ()


def test_a_poor_calibration_is_refused_and_cannot_be_saved(folder: Path) -> None:
    app = _with(calibrate(views(np.random.default_rng(1), count=4)))
    assert "The board shows well in 4 photos; 8 are the least" in app.error[0].value
    assert all(b.label != "Save the profile" for b in app.button)


def test_a_taken_or_impossible_name_is_said(folder: Path) -> None:
    found = calibrate(views(np.random.default_rng(1)))
    lens_store().save(found.lens, name=NAME)
    for name, words in ((NAME, "already"), ("../x", "cannot be the name"), ("", "cannot be")):
        app = _with(found)
        app.text_input(key="lens-name-0").set_value(name)
        next(b for b in app.button if b.label == "Save the profile").click().run()
        assert words in _sound(app).error[0].value


def test_a_stray_file_does_not_hide_the_profiles(folder: Path) -> None:
    found = calibrate(views(np.random.default_rng(1)))
    kept = lens_store().save(found.lens, name=NAME)
    (folder / "lenses" / "stray.json").write_text("{}", encoding="utf-8")
    assert lens_store().all() == (kept,)
    assert lens_text(kept).endswith("}\n")
