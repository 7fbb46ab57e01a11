"""Edits as the workspace sends them: what they change, and what is refused."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from damagescore.inspection import Inspection
from damagescore.records import Store
from damagescore.ui import session
from damagescore.ui.inspect.photo_words import limits_words
from damagescore.ui.workspace import key_of
from tests.ui.browser import ROOT
from tests.ui.filled import CRACK, OTHER, filled, gapped


class Sender:
    """One session at the findings step, with its own numbers."""

    def __init__(self, inspection: Inspection, who: str = "R. Alder") -> None:
        main = ROOT / "damagescore" / "ui" / "main.py"
        self.app = AppTest.from_file(str(main), default_timeout=60)
        self.app.query_params["inspection"] = inspection.id
        self.app.query_params["step"] = "findings"
        self.app.session_state["inspector_name"] = who
        self.inspection, self.number = inspection, 0
        self.key = key_of(inspection.id, inspection.photos[0].sha256)
        self.app.run()

    def send(self, **op: Any) -> str:
        """Send one edit; give its fault, empty when it was made."""
        self.number += 1
        self.app.session_state[self.key] = {"ops": [{"n": self.number, **op}]}
        self.app.run()
        assert [e.message for e in self.app.exception] == []
        name, state = f"{self.key}-fault", self.app.session_state
        fault = state[name] if name in state else None  # noqa: SIM401 - it has no get
        return str(fault["text"]) if fault and fault["n"] == self.number else ""


@pytest.fixture
def sender(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Sender:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    return Sender(filled(tmp_path))


def _stored(sender: Sender) -> Inspection:
    return session.store().load(sender.inspection.id)


def _finding(sender: Sender, name: str) -> dict[str, Any]:
    found = _stored(sender).photos[0].measurement["findings"]
    return next(f for f in found if f["id"] == name)


END = {"id": "crack-1", "line": 0, "count": 2, "first": 1, "last": 1}


def test_an_edited_line_keeps_the_origin_of_what_was_not_touched(sender: Sender) -> None:
    assert sender.send(do="shape", points=[[170.0, 240.0]], **END) == ""
    found = _finding(sender, "crack-1")
    # 110 px at 0.04 mm, straight.
    assert found["quantities"]["length"]["value"] == pytest.approx(4.4, abs=1e-6)
    assert found["origin"] == "auto"


def test_a_moved_point_may_be_laid_on_the_dark_line_again(sender: Sender) -> None:
    first = {**END, "first": 0, "last": 0}
    points = [[*CRACK[0]], [110.0, 237.0]]
    assert sender.send(do="shape", points=points, snap=True, **first) == ""
    line = np.array(_finding(sender, "crack-1")["lines_px"][0])
    # The stroke is 3 px wide and straight at y = 240.
    assert np.abs(line[2:-2, 1] - 240).max() < 1.0
    assert len(line) > 10


def test_a_shape_that_changed_meanwhile_is_not_touched(sender: Sender) -> None:
    fault = sender.send(do="shape", points=[[170.0, 240.0]], **{**END, "count": 7})
    assert "changed meanwhile" in fault
    assert _finding(sender, "crack-1")["lines_px"] == [CRACK]


def test_the_only_line_of_a_finding_is_not_taken_out(sender: Sender) -> None:
    assert "Reject the finding instead" in sender.send(do="drop", id="crack-1", line=0, count=2)


def test_halves_of_a_crack_are_joined_over_the_gap_and_parted_by_undo(sender: Sender) -> None:
    inspection = gapped()
    with Store(session.store().folder) as store:
        store.save(inspection)
    mine = Sender(inspection)
    assert mine.send(do="bridge", link="link-1") == ""
    entry = _stored(mine).photos[0]
    (whole,) = entry.measurement["findings"]
    length = whole["quantities"]["length"]
    assert length["value"] == pytest.approx(4.0, abs=1e-6)  # 100 px at 0.04 mm, straight
    assert "bridged gap" in [c["source"] for c in length["budget"]]
    assert entry.measurement["totals"]["crack_length"]["value"] == pytest.approx(4.0)
    assert "nothing to decide" in mine.send(do="apart", link="link-1")
    assert mine.send(do="undo") == ""
    assert len(_stored(mine).photos[0].measurement["findings"]) == 2
    assert mine.send(do="apart", link="link-1") == ""
    assert _stored(mine).photos[0].reviews["link-1"].state == "rejected"


def test_a_line_has_no_area_to_add_to(sender: Sender) -> None:
    square = [[60.0, 230.0], [90.0, 230.0], [90.0, 250.0], [60.0, 250.0]]
    assert "is a line" in sender.send(do="join", id="crack-1", points=square)


def test_redo_without_undo_is_told_in_one_sentence(sender: Sender) -> None:
    assert sender.send(do="redo").startswith("There is no change to make again.")


def test_a_region_that_leaves_nothing_to_judge_is_not_taken_over(sender: Sender) -> None:
    square = [[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]]
    n_edits = len(_stored(sender).edits)
    assert "refused" in sender.send(do="region", points=square)
    assert "refused" in sender.send(do="keepout", points=square)
    assert len(_stored(sender).edits) == n_edits
    assert _stored(sender).photos[0].options["region_px"] is None


def test_a_change_on_what_another_just_changed_is_told_the_rest_is_made(
    sender: Sender,
) -> None:
    other = Sender(sender.inspection, "S. Birch")
    seen = len(_stored(sender).edits)
    assert other.send(do="reject", id="crack-1", reason="Mould mark", seen=seen) == ""
    fault = sender.send(do="confirm", id="crack-1", seen=seen)
    assert fault.startswith("S. Birch changed this meanwhile: reject crack-1")
    assert sender.send(do="shape", seen=seen, points=[[310.0, OTHER[1][1]]], **{
        **END, "id": "crack-2",
    }) == ""  # fmt: skip
    assert sender.send(do="confirm", id="crack-1", seen=len(_stored(sender).edits)) == ""


def test_what_is_not_judged_is_said() -> None:
    assert limits_words({}) == ""
    square = [[0, 0], [1, 0], [1, 1]]
    said = limits_words({"region_px": square, "keep_out_px": [square, square]})
    assert said == "Only the region that was drawn is judged. 2 areas are kept out."
