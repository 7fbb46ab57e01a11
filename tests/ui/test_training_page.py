"""The training page: take a photo in, practise on it blind, see the answer after committing."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from damagescore.inspection import confirm_finding
from damagescore.training.kept import Library
from damagescore.ui import session
from damagescore.ui.documents import documents
from damagescore.ui.workspace import key_of
from tests.ui.browser import ROOT
from tests.ui.filled import CRACK, filled


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    inspection = filled(tmp_path)
    for finding in inspection.photos[0].measurement["findings"]:
        inspection = confirm_finding(
            inspection, inspection.photos[0].sha256, finding["id"], by="R. Olin"
        )
    session.store().save(inspection)
    app = AppTest.from_file(str(ROOT / "damagescore" / "ui" / "main.py"), default_timeout=60)
    app.session_state["inspector_name"] = "L. Maas"
    app.run()
    yield app.switch_page(str(ROOT / "app_pages" / "training.py")).run()
    session.desk().close()


def _sound(app: AppTest) -> AppTest:
    assert [e.message for e in app.exception] == []
    return app


def _take_in(app: AppTest, **given) -> AppTest:
    app.selectbox(key="take-grade").select(given.get("grade", 2))
    app.selectbox(key="take-call").select("within")
    app.text_input(key="take-provenance").set_value("demo bench")
    app.text_input(key="take-permission").set_value(given.get("permission", "own, any"))
    return _sound(app.button(key="take-go").click().run())


def test_a_reviewed_photo_is_taken_in_with_its_answer(page) -> None:
    _take_in(page)
    (entry,) = Library(documents()).entries()
    assert [f.id for f in entry.findings] == ["crack-1", "crack-2"]
    assert (entry.grade, entry.call, entry.permission) == (2, "within", "own, any")
    assert entry.measurement["findings"] == []


def test_a_photo_without_permission_is_told(page) -> None:
    _take_in(page, permission=" ")
    assert "no word on who allowed its use" in page.error[0].value
    assert Library(documents()).entries() == ()


def test_practice_shows_the_answer_only_after_it_was_committed(page) -> None:
    _take_in(page)
    (entry,) = Library(documents()).entries()
    _sound(page.button(key="practice-begin").click().run())
    draft = page.session_state["practice-draft"]
    assert draft.photos[0].measurement["findings"] == []
    assert not any("Agreed grade" in m.value for m in page.markdown)
    key = key_of(draft.id, entry.photo_sha256)
    ops = [{"n": 1, "do": "trace", "kind": "crack", "points": CRACK}]
    page.session_state[key] = {"ops": ops}
    _sound(page.run())
    page.button_group(key=f"grade-{entry.id}").set_value(4)
    page.button_group(key=f"call-{entry.id}").set_value("within")
    _sound(page.button(key="practice-commit").click().run())
    assert "1 found, 1 missed, 0 drawn where nothing was agreed." in page.warning[0].value
    said = " ".join(m.value for m in page.markdown)
    assert "too strict" in said
    (answer,) = Library(documents()).answers()
    assert (answer.trainee, answer.grade, len(answer.drawn)) == ("L. Maas", 4, 1)
    _sound(page.button(key="practice-next").click().run())
    # What was drawn is no inspection: the records hold the one of before only.
    assert len(session.store().search(limit=9)) == 1


def test_given_scale_and_layers_are_not_changed_in_practice(page) -> None:
    _take_in(page)
    (entry,) = Library(documents()).entries()
    _sound(page.button(key="practice-begin").click().run())
    draft = page.session_state["practice-draft"]
    key = key_of(draft.id, entry.photo_sha256)
    ops = [{"n": 1, "do": "scale", "points": CRACK, "length": 4.0, "unit": "mm"}]
    page.session_state[key] = {"ops": ops}
    _sound(page.run())
    assert page.session_state["practice-draft"] == draft
    assert "of a graded photo are given" in page.session_state[f"{key}-fault"]["text"]


def test_a_photo_shown_as_a_grade_is_not_practised_on(page) -> None:
    _take_in(page)
    (entry,) = Library(documents()).entries()
    _sound(page.button(key=f"picture-{entry.id}").click().run())
    assert Library(documents()).scale().step(2).picture_sha256 == entry.photo_sha256
    assert not [b for b in page.button if b.key == "practice-begin"]
