"""Joining two findings across a gap, and leaving them apart, as edits of the record."""

from typing import Any

import numpy as np
import pytest

from damagescore.errors import RecordError
from damagescore.inspection import (
    Inspection,
    add_photo,
    assess_inspection,
    clash_of,
    confirm_finding,
    inspection_from_dict,
    inspection_to_dict,
    join_link,
    leave_apart,
    new_inspection,
    open_links,
    redo,
    reject_finding,
    undo,
    words_of_edit,
)
from damagescore.limits import demo_limit_set_text, parse_limit_set
from damagescore.report.changes import change_text
from damagescore.report.closeup import close_up
from damagescore.report.marks import all_marks, finding_marks, link_marks
from tests.inspection_samples import BY, SHA, line_finding, measurement

LINK = {
    "id": "link-1", "first": "crack-1", "second": "crack-2", "beyond_px": [], "gap_mm": 0.8,
    "chance": 0.9, "line_px": [[120.0, 240.0], [130.0, 240.0], [140.0, 240.0]],
}  # fmt: skip


def opened(**changes: Any) -> Inspection:
    """Two cracks in line, 20 px apart, with the link between them."""
    found = measurement(
        line_finding("crack-1", (20.0, 120.0)), line_finding("crack-2", (140.0, 200.0)),
        line_finding("crack-3", (300.0, 340.0)),
    )  # fmt: skip
    plain = {**found, "links": [{**LINK, **changes}]}
    begun = new_inspection(by=BY)
    return add_photo(begun, sha256=SHA, name="a.jpg", measurement=plain, by=BY)


def whole() -> dict[str, Any]:
    made = line_finding("crack-1", (20.0, 200.0)).to_dict()
    made["lines_px"] = [[[20.0, 240.0], *LINK["line_px"], [200.0, 240.0]]]
    made["bridged_px"] = [[[120.0, 240.0], [140.0, 240.0]]]
    return {"findings": [made], "totals": {"crack_length": None}}


def names(inspection: Inspection) -> list[str]:
    return [f["id"] for f in inspection.photos[0].measurement["findings"]]


def test_joining_is_one_edit_that_undo_takes_back_whole():
    start = confirm_finding(opened(), SHA, "crack-2", by=BY)
    joined = join_link(start, SHA, "link-1", measurement=whole(), by=BY)
    assert names(joined) == ["crack-1", "crack-3"]
    entry = joined.photos[0]
    assert entry.reviews["crack-1"].state == "confirmed"
    assert entry.measurement["totals"] == {"crack_length": None}
    assert open_links(entry) == []
    back = undo(joined, by=BY, photo=SHA)
    assert back.photos == start.photos
    assert len(open_links(back.photos[0])) == 1
    assert redo(back, by=BY, photo=SHA).photos == joined.photos
    assert inspection_from_dict(inspection_to_dict(joined)) == joined


def test_the_history_names_both_and_the_report_shows_where():
    joined = join_link(opened(), SHA, "link-1", measurement=whole(), by=BY)
    edit = joined.edits[-1]
    assert words_of_edit(edit) == "join crack-1 and crack-2, photo 1 (a.jpg)"
    told = change_text(edit.before, edit.after, unit="mm")
    assert told.startswith("length 4.0")
    assert "→ 7.2" in told
    marks = [m for m in finding_marks(joined.photos[0].measurement) if m.style == "bridged"]
    assert [m.points_px.tolist() for m in marks] == [LINK["line_px"]]


def test_left_apart_it_is_not_asked_again():
    apart = leave_apart(opened(), SHA, "link-1", by=BY)
    assert words_of_edit(apart.edits[-1]).startswith("leave apart crack-1 and crack-2")
    assert open_links(apart.photos[0]) == []
    assert names(apart) == ["crack-1", "crack-2", "crack-3"]
    with pytest.raises(RecordError, match="nothing to decide"):
        join_link(apart, SHA, "link-1", measurement=whole(), by=BY)
    assert len(open_links(undo(apart, by=BY, photo=SHA).photos[0])) == 1


def test_a_link_of_a_rejected_or_moved_finding_is_not_open():
    rejected = reject_finding(opened(), SHA, "crack-2", by=BY, reason="Dirt or dust")
    assert open_links(rejected.photos[0]) == []
    assert open_links(opened(line_px=[[120.0, 240.0], [150.0, 240.0]]).photos[0]) == []
    assert len(open_links(opened(second=None).photos[0])) == 1  # goes on into a faint line


def test_open_links_are_told_with_the_assessment_until_they_are_decided():
    limits = parse_limit_set(demo_limit_set_text())
    assessed = assess_inspection(opened(), limits)
    (note,) = [n for n in assessed.assessment["notes"] if "beyond a gap" in n]
    assert "crack-1 and crack-2" in note
    assert "understated" in note
    decided = leave_apart(assessed, SHA, "link-1", by=BY)
    assert not [n for n in decided.assessment["notes"] if "beyond a gap" in n]
    assert len(list(link_marks(opened().photos[0].measurement))) == 1
    assert list(link_marks(decided.photos[0].measurement, {"link-1": "rejected"})) == []


def test_who_rejects_a_finding_that_somebody_joined_meanwhile_is_told():
    seen = opened()
    stored = join_link(seen, SHA, "link-1", measurement=whole(), by="S. Birch")
    clash = clash_of(
        stored,
        reject_finding(stored, SHA, "crack-1", by=BY, reason="Dirt"),
        seen=len(seen.edits),
    )
    assert clash is not None
    assert "S. Birch changed this meanwhile: join crack-1 and crack-2" in clash.text
    other = reject_finding(stored, SHA, "crack-3", by=BY, reason="Dirt")
    assert clash_of(stored, other, seen=len(seen.edits)) is None


def test_links_move_with_the_close_up():
    shown = np.zeros((2000, 2000, 3), np.uint8)
    joined = join_link(opened(), SHA, "link-1", measurement=whole(), by=BY)
    for inspection, style in ((opened(), "link"), (joined, "bridged")):
        entry = inspection.photos[0]
        states = {k: r.state for k, r in entry.reviews.items()}
        found = close_up(shown, entry.measurement)
        assert found is not None
        (mark,) = (m for m in all_marks(found[1], states) if m.style == style)
        line = next(m for m in all_marks(found[1], states) if m.style == "crack")
        # It goes on from where the first crack ends, wherever the picture begins.
        away = np.hypot(*(line.points_px - mark.points_px[0]).T)
        assert away.min() < 1e-9
