"""What the inspector drew is seen in the overlay and in the report's photo pages."""

import numpy as np
import pytest

from damagescore.inspection import add_ruler, redo, remove_ruler, undo
from damagescore.report import overlay
from damagescore.report.closeup import close_up
from damagescore.report.marks import (
    all_marks,
    finding_labels,
    kinds_in,
    limit_marks,
    ruler_marks,
    with_rulers,
)
from tests.inspection_samples import BY, SHA, inspected, line_finding, measurement

REGION = [[20.0, 20.0], [380.0, 20.0], [380.0, 280.0], [20.0, 280.0]]
OUT = [[300.0, 120.0], [360.0, 120.0], [360.0, 160.0], [300.0, 160.0]]
RULER = {"points_px": [[50.0, 60.0], [150.0, 60.0]], "screen_px": 1.0, "by": BY}


@pytest.fixture
def drawn() -> dict:
    plain = measurement(line_finding("crack-1", (60, 160)))
    limits = {"region_px": REGION, "drawn_keep_out_px": [OUT], "by_hand": [0, 2]}
    return with_rulers({**plain, "edge": {**plain["edge"], **limits}}, [RULER], unit="mm")


def test_borders_region_and_areas_kept_out_are_drawn_where_they_lie(drawn: dict) -> None:
    marks = list(limit_marks(drawn))
    assert [m.style for m in marks] == ["by_hand", "by_hand", "keep_out", "region"]
    # The lowest boundary lies at row 280, the second above it at row 180.
    assert [set(m.points_px[:, 1]) for m in marks[:2]] == [{280.0}, {180.0}]
    assert marks[2].points_px.tolist() == OUT
    assert marks[3].points_px.tolist() == REGION
    assert {"by_hand", "region", "keep_out", "ruler"} <= set(kinds_in(drawn, {}))
    assert [m.style for m in all_marks(drawn)][-1] == "crack"


def test_a_measuring_line_has_ticks_and_its_length(drawn: dict) -> None:
    line, *ticks = ruler_marks(drawn)
    assert line.points_px.tolist() == RULER["points_px"]
    assert [t.points_px.mean(axis=0).tolist() for t in ticks] == RULER["points_px"]
    label = list(finding_labels(drawn))[-1]
    # 100 px at 0.04 mm; both ends clicked within 1 px and a screen pixel (0.29 px), and the
    # scale good to 0.1 %: 1.96 x hypot(1.414 x 0.04 x 1.041, 0.004) = 0.12 mm.
    assert (label.text, label.at_px) == ("4.00 ± 0.12 mm", (100.0, 60.0))


def test_the_overlay_shows_them_and_leaves_the_rest(drawn: dict) -> None:
    grey = np.full((300, 400, 3), 90, np.uint8)
    shown = overlay(grey, drawn)
    changed = (shown != grey).any(axis=2)
    for rows, columns in ((slice(18, 23), slice(60, 370)), (slice(120, 160), slice(300, 360)),
                          (slice(57, 63), slice(60, 90))):  # fmt: skip
        assert changed[rows, columns].any()
    assert not changed[2:16, 2:398].any()  # nothing outside the region


def test_a_close_up_moves_them_along() -> None:
    plain = measurement(line_finding("crack-1", (60, 160)))
    edge = {**plain["edge"], "region_px": REGION, "drawn_keep_out_px": [OUT]}
    shown = with_rulers({**plain, "edge": edge}, [RULER], unit="mm")
    found = close_up(np.zeros((300, 400, 3), np.uint8), shown)
    assert found is not None
    start = np.array(RULER["points_px"]) - np.array(found[1]["rulers"][0]["points_px"])
    for old, new in ((REGION, "region_px"), (OUT, "drawn_keep_out_px")):
        moved = found[1]["edge"][new]
        assert np.allclose(np.array(old) - np.array(moved).reshape(-1, 2), start[0])


def test_a_kept_line_is_an_edit_that_can_be_taken_back() -> None:
    begun = inspected(line_finding("crack-1", (60, 160)))
    kept = add_ruler(begun, SHA, [[50, 60], [150, 60]], by=BY)
    assert kept.photos[0].rulers == (RULER,)
    assert kept.edits[-1].action == "add_measuring_line"
    assert undo(kept, by=BY, photo=SHA).photos == begun.photos
    assert redo(undo(kept, by=BY), by=BY).photos == kept.photos
    assert remove_ruler(kept, SHA, 1, by=BY).photos == begun.photos
