"""The form and the file of a limit set: what is wrong is named with its place."""

from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from damagescore.errors import LimitError
from damagescore.limits import demo_limit_set_text, parse_limit_set
from damagescore.ui.limit_form import blank_rows, row_of, set_of
from damagescore.ui.limit_list import read
from tests.ui.browser import ROOT

FIELDS: dict[str, Any] = {
    "title": "Mine", "source_document": "", "revision": "A", "effective_date": "", "notes": "",
    "rule": "guarded", "factor": 1.65, "unit": "mm", "invented": False,
}  # fmt: skip


def test_rows_of_a_set_make_the_same_set() -> None:
    demo = parse_limit_set(demo_limit_set_text())
    made = set_of({**FIELDS, "title": demo.title}, [row_of(c) for c in demo.criteria])
    assert made.criteria == demo.criteria


def test_a_new_set_names_no_limit_and_cannot_be_saved_so() -> None:
    with pytest.raises(LimitError, match="Row 1 of the criteria has no text"):
        set_of(FIELDS, blank_rows())
    assert blank_rows()[0]["limit"] is None


def test_a_wrong_field_is_named_with_its_row() -> None:
    good = {**blank_rows()[0], "text": "Any crack longer than 9 mm", "limit": 9.0}
    bad = {**good, "id": "criterion-2", "unit": "%"}
    with pytest.raises(LimitError, match=r"Row 2 of the criteria \(criterion-2\): unit"):
        set_of(FIELDS, [good, bad])


def test_an_empty_row_is_left_out() -> None:
    good = {**blank_rows()[0], "text": "Any crack longer than 9 mm", "limit": 9.0}
    assert len(set_of(FIELDS, [good, dict.fromkeys(good)]).criteria) == 1


def test_a_wrong_file_is_refused_with_its_line() -> None:
    lines = demo_limit_set_text().splitlines()
    number = next(i for i, x in enumerate(lines) if x.startswith("quantity"))
    lines[number] = 'quantity = "crack_lenght"'
    with pytest.raises(LimitError, match=f"line {number + 1}"):
        read("\n".join(lines).encode(), name="limits.toml")


def test_the_page_starts_a_new_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    app = AppTest.from_file(str(ROOT / "damagescore" / "ui" / "main.py"), default_timeout=60)
    app.run().switch_page(str(ROOT / "app_pages" / "limit_sets.py")).run()
    app.selectbox(key="limits-choice").select_index(1).run()
    assert not app.exception
    app.button(key="save-new").click().run()
    assert not app.exception
    assert "Row 1 of the criteria has no text" in app.error[0].value
