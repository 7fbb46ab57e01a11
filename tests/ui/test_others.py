"""What others changed is told while a page stands open; what oneself changed is not."""

from streamlit.testing.v1 import AppTest

from damagescore.inspection import confirm_finding, reject_finding
from damagescore.inspection.together import words_of_others
from damagescore.records import Store
from tests.ui.filled import filled


def _page() -> None:
    import streamlit as st  # noqa: PLC0415 - AppTest runs this body only

    from damagescore.ui.inspect.others import _panel  # noqa: PLC0415

    _panel(st.session_state["watched"], st.session_state["drawn-at"])


def test_a_change_of_another_person_is_told(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    inspection = filled(tmp_path)
    photo = inspection.photos[0].sha256
    app = AppTest.from_function(_page, default_timeout=60)
    with Store(tmp_path) as store:
        revision = store.revision(inspection.id)
        app.session_state["watched"] = inspection.id
        app.session_state["drawn-at"] = revision
        app.session_state[f"shown-{inspection.id}"] = len(inspection.edits)
        assert not app.run().markdown
        changed = confirm_finding(inspection, photo, "crack-1", by="K. Dahl")
        changed = reject_finding(changed, photo, "crack-2", by="K. Dahl", reason="a scratch")
        store.save(changed, expected_revision=revision)
    assert "2 changes by K. Dahl since this page was drawn" in app.run().markdown[
        0
    ].value.replace("\\", "")
    assert app.button(key="show-others")
    own = {e.number for e in changed.edits[len(inspection.edits) :]}
    app.session_state[f"own-{inspection.id}"] = own
    assert not app.run().markdown


def test_many_changes_are_told_by_the_last_three(tmp_path) -> None:
    inspection = filled(tmp_path)
    photo = inspection.photos[0].sha256
    for _ in range(2):
        for finding in ("crack-1", "crack-2"):
            inspection = confirm_finding(inspection, photo, finding, by="K. Dahl")
    said = words_of_others(inspection.edits[-4:])
    assert said.startswith("4 changes by K. Dahl since this page was drawn: …, ")
    assert said.count(",") == 3
