"""Undo and redo without end, per photo and for the whole record; two people at once."""

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.errors import RecordError
from damagescore.inspection import (
    Inspection,
    Part,
    add_photo,
    assess_inspection,
    clash_of,
    confirm_finding,
    inspection_from_dict,
    inspection_to_dict,
    last_redoable,
    last_undoable,
    redo,
    reject_finding,
    remove_photo,
    replace_measurement,
    retake_photo,
    set_part,
    sign_inspection,
    state_of,
    undo,
)
from tests.inspection_samples import AT, BY, SHA, inspected, limits, line_finding, measurement

OTHER = "b" * 64


def _two_photos() -> Inspection:
    record = inspected(line_finding("crack-0", (0, 50)), line_finding("crack-1", (100, 350)))
    found = measurement(line_finding("crack-0", (0, 50)), line_finding("crack-1", (60, 90)))
    return add_photo(record, sha256=OTHER, name="b.jpg", measurement=found, by=BY, at=AT)


def _content(record: Inspection) -> Inspection:
    return replace(record, edits=())


def test_undo_of_a_photo_leaves_the_other_photo_alone() -> None:
    record = confirm_finding(_two_photos(), SHA, "crack-0", by=BY)
    record = confirm_finding(record, OTHER, "crack-1", by=BY)
    record = set_part(record, Part(part_number="HV-3105"), by=BY)
    record = undo(record, by="S. Birch", photo=SHA)
    assert state_of(record.photos[0], "crack-0") == "proposed"
    assert state_of(record.photos[1], "crack-1") == "confirmed"
    assert record.part.part_number == "HV-3105"
    last = record.edits[-1]
    assert (last.action, last.target, last.by) == ("undo", "edit 4", "S. Birch")
    assert last_undoable(record, photo=SHA) is None
    assert last_redoable(record, photo=OTHER) is None


def test_redo_makes_the_change_again_and_says_so() -> None:
    start = _two_photos()
    changed = reject_finding(start, SHA, "crack-0", by=BY, reason="dust", at=AT)
    again = redo(undo(changed, by=BY, photo=SHA), by=BY, photo=SHA)
    assert _content(again) == _content(changed)
    # The review itself still says who decided, when and why.
    assert again.photos[0].reviews["crack-0"].reason == "dust"
    assert [e.action for e in again.edits[-3:]] == ["reject", "undo", "redo"]
    with pytest.raises(RecordError, match="no change to make again"):
        redo(again, by=BY, photo=SHA)
    assert inspection_from_dict(inspection_to_dict(again)) == again


def test_a_new_change_leaves_nothing_to_make_again() -> None:
    record = undo(confirm_finding(_two_photos(), SHA, "crack-0", by=BY), by=BY, photo=SHA)
    record = confirm_finding(record, SHA, "crack-1", by=BY)
    assert last_redoable(record, photo=SHA) is None


def test_a_retake_is_taken_back_and_made_again_by_one_step_each() -> None:
    record = confirm_finding(_two_photos(), SHA, "crack-0", by=BY)
    found = measurement(line_finding("crack-0", (0, 70)))
    new = "c" * 64
    retaken = retake_photo(
        record, SHA, sha256=new, name="c.jpg", measurement=found, by=BY, reason="Out of focus"
    )
    assert [p.sha256 for p in retaken.photos] == [new, OTHER]
    assert len(retaken.edits) == len(record.edits) + 1
    back = undo(confirm_finding(retaken, new, "crack-0", by=BY), by=BY, photo=new)
    back = undo(back, by=BY, photo=new)
    assert _content(back) == _content(record)
    # The old photo is shown now: its own last change can be taken back, the retake made again.
    assert last_undoable(back, photo=SHA) == record.edits[-1]
    assert _content(redo(back, by=BY, photo=SHA)) == _content(retaken)
    assert inspection_from_dict(inspection_to_dict(back)) == back


def test_a_retake_clashes_with_an_unseen_change_to_the_photo_it_replaces() -> None:
    record = confirm_finding(_two_photos(), SHA, "crack-0", by="B. Rowan")
    new = "c" * 64
    after = retake_photo(
        record, SHA, sha256=new, name="c.jpg", measurement=measurement(), by=BY, reason="blur"
    )
    clash = clash_of(record, after, seen=len(record.edits) - 1)
    assert clash is not None
    assert "confirm" in clash.text
    assert clash_of(record, after, seen=len(record.edits)) is None


def test_a_photo_is_no_retake_of_itself_and_a_retake_has_a_reason() -> None:
    record = _two_photos()
    with pytest.raises(RecordError, match="already has this photo"):
        retake_photo(
            record, SHA, sha256=OTHER, name="b.jpg", measurement=measurement(), by=BY,
            reason="blur",
        )  # fmt: skip
    with pytest.raises(RecordError, match="reason"):
        retake_photo(
            record, SHA, sha256="c" * 64, name="c.jpg", measurement=measurement(), by=BY,
            reason=" ",
        )  # fmt: skip


def test_undo_in_a_photo_never_takes_the_photo_out() -> None:
    record = _two_photos()
    with pytest.raises(RecordError, match="no change to take back"):
        undo(record, by=BY, photo=OTHER)
    # Taken back for the whole record, the photo goes; that is on no photo's own list.
    gone = undo(record, by=BY)
    assert len(gone.photos) == 1
    assert last_redoable(gone, photo=OTHER) is None
    assert _content(redo(gone, by=BY)) == _content(record)


def test_measuring_anew_is_taken_back_with_its_reviews() -> None:
    reviewed = confirm_finding(_two_photos(), SHA, "crack-0", by=BY)
    anew = replace_measurement(
        reviewed, SHA, measurement=measurement(line_finding("crack-9", (0, 50))), by=BY
    )
    assert _content(undo(anew, by=BY, photo=SHA)) == _content(reviewed)


steps = st.lists(
    st.tuples(st.sampled_from([SHA, OTHER]), st.sampled_from(["change", "undo", "redo"])),
    max_size=25,
)


@settings(deadline=None, max_examples=60)
@given(steps)
def test_each_photo_has_a_past_and_a_future_of_its_own(names: list[tuple[str, str]]) -> None:
    record = _two_photos()
    n_start = len(record.edits)
    plain = {p.sha256: [json.dumps(_reviews(p))] for p in record.photos}
    at = dict.fromkeys(plain, 0)
    for number, (photo, what) in enumerate(names):
        past = plain[photo]
        if what == "change":
            reason = f"reason {number}"
            record = reject_finding(record, photo, f"crack-{number % 2}", by=BY, reason=reason)
            entry = next(p for p in record.photos if p.sha256 == photo)
            del past[at[photo] + 1 :]
            past.append(json.dumps(_reviews(entry)))
            at[photo] += 1
        elif what == "undo" and at[photo]:
            record = undo(record, by=BY, photo=photo)
            at[photo] -= 1
        elif what == "redo" and at[photo] + 1 < len(past):
            record = redo(record, by=BY, photo=photo)
            at[photo] += 1
        for entry in record.photos:
            assert json.dumps(_reviews(entry)) == plain[entry.sha256][at[entry.sha256]]
    assert [e.number for e in record.edits] == list(range(1, len(record.edits) + 1))
    assert len(record.edits) <= n_start + len(names)


def _reviews(entry: object) -> dict[str, str]:
    return {k: r.reason for k, r in sorted(entry.reviews.items())}  # type: ignore[attr-defined]


def test_changes_to_different_things_stand_beside_each_other() -> None:
    seen = _two_photos()
    theirs = confirm_finding(seen, SHA, "crack-0", by="S. Birch")
    mine = reject_finding(theirs, SHA, "crack-1", by=BY, reason="dust")
    assert clash_of(theirs, mine, seen=len(seen.edits)) is None
    part = set_part(theirs, Part(part_number="HV-3105"), by=BY)
    assert clash_of(theirs, part, seen=len(seen.edits)) is None
    other = confirm_finding(theirs, OTHER, "crack-0", by=BY)
    assert clash_of(theirs, other, seen=len(seen.edits)) is None


def test_a_change_over_one_that_was_not_seen_is_told() -> None:
    seen = _two_photos()
    theirs = reject_finding(seen, SHA, "crack-0", by="S. Birch", reason="dust")
    mine = confirm_finding(theirs, SHA, "crack-0", by=BY)
    clash = clash_of(theirs, mine, seen=len(seen.edits))
    assert clash is not None
    assert clash.text == ("S. Birch changed this meanwhile: reject crack-0, photo 1 (a.jpg).")
    # Seen, or made by oneself in the same place, nothing is gone over.
    assert clash_of(theirs, mine, seen=len(theirs.edits)) is None
    own = [theirs.edits[-1].number]
    assert clash_of(theirs, mine, seen=len(seen.edits), own=own) is None


def test_an_undo_of_what_another_did_unseen_is_told() -> None:
    seen = _two_photos()
    theirs = confirm_finding(seen, SHA, "crack-0", by="S. Birch")
    theirs = confirm_finding(theirs, SHA, "crack-1", by="S. Birch")
    clash = clash_of(theirs, undo(theirs, by=BY, photo=SHA), seen=len(seen.edits))
    assert clash is not None
    assert [e.target for e in clash.edits] == ["crack-1, photo 1 (a.jpg)"]


@pytest.mark.parametrize("gone", [True, False])
def test_a_photo_taken_out_or_measured_anew_touches_its_findings(gone: bool) -> None:
    seen = _two_photos()
    theirs = confirm_finding(seen, SHA, "crack-0", by="S. Birch")
    mine = (
        remove_photo(theirs, SHA, by=BY, reason="wrong part")
        if gone
        else replace_measurement(theirs, SHA, measurement=measurement(), by=BY)
    )
    assert clash_of(theirs, mine, seen=len(seen.edits)) is not None


def test_signing_over_anything_unseen_is_told() -> None:
    seen = inspected(line_finding("crack-0", (0, 50)))
    seen = assess_inspection(confirm_finding(seen, SHA, "crack-0", by=BY), limits(), by=BY)
    theirs = set_part(seen, Part(part_number="HV-3105"), by="S. Birch")
    mine = sign_inspection(
        theirs, name=BY, authorisation="HV-17", statement="Seen.", disposition="refer",
        reason="Depth was not probed.",
    )  # fmt: skip
    clash = clash_of(theirs, mine, seen=len(seen.edits))
    assert clash is not None
    assert "S. Birch changed this meanwhile: set part." in clash.text
