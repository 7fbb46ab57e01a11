"""What an edit changed is said in words, from the patches that the inspection keeps."""

from dataclasses import replace
from typing import Any

from damagescore.inspection import (
    Part,
    add_photo,
    change_finding,
    confirm_finding,
    new_inspection,
    reject_finding,
    set_part,
)
from damagescore.report.changes import change_text

SHA256 = "ab" * 32


def a_measurement(length_mm: float, kind: str = "crack") -> dict[str, Any]:
    finding = {
        "id": "crack-1", "kind": kind, "layer": 2, "strength": 0.5, "polygon_px": None,
        "lines_px": [[[0, 0], [9, 0]]], "origin": "auto",
        "quantities": {"length": {"value": length_mm, "u": 0.1, "unit": "mm"}},
    }  # fmt: skip
    return {
        "schema": "damagescore/measurement/1", "view": "face", "findings": [finding],
        "totals": {}, "layers": [], "quality": {"usable": True, "checks": []},
    }  # fmt: skip


def a_record() -> Any:
    return add_photo(
        new_inspection(by="R. Alder"), sha256=SHA256, name="a.jpg",
        measurement=a_measurement(12.7),
    )  # fmt: skip


def last_change(record: Any, unit: Any = "mm") -> str:
    edit = record.edits[-1]
    return change_text(edit.before, edit.after, unit=unit)


def test_a_review_says_the_old_state_and_the_new() -> None:
    record = confirm_finding(a_record(), SHA256, "crack-1", by="R. Alder")
    assert last_change(record) == "proposed → confirmed"
    record = reject_finding(record, SHA256, "crack-1", by="R. Alder", reason="a scratch")
    assert last_change(record) == "confirmed → rejected"


def test_a_corrected_finding_says_each_value_that_changed() -> None:
    record = change_finding(
        a_record(), SHA256, "crack-1", measurement=a_measurement(25.4, "bond_gap"),
        by="R. Alder",
    )  # fmt: skip
    # Expanded uncertainty 1.96 x 0.1 mm = 0.196 mm, two digits.
    assert last_change(record) == (
        "proposed → confirmed; kind crack → bond gap; length 12.70 ± 0.20 mm → 25.40 ± 0.20 mm"
    )
    # 12.7 mm = 0.5 in and 25.4 mm = 1 in exactly; 0.196 mm = 0.0077 in.
    assert "length 0.5000 ± 0.0077 in → 1.0000 ± 0.0077 in" in last_change(record, "in")


def test_a_renamed_part_says_what_was_there_before() -> None:
    record = set_part(a_record(), Part(part_number="HV-2210"), by="R. Alder")
    assert last_change(record) == "part number none → HV-2210"
    record = set_part(record, replace(record.part, part_number="HV-2211"), by="R. Alder")
    assert last_change(record) == "part number HV-2210 → HV-2211"


def test_what_has_no_short_words_says_nothing() -> None:
    assert last_change(a_record()) == ""  # a whole photo
    assert change_text(None, None, unit="mm") == ""
    assert change_text(None, "exceeded", unit="mm") == "none → limit exceeded"
