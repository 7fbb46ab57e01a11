"""Editing, reviewing, assessing, signing and superseding a record."""

import hashlib
import json
from dataclasses import replace
from typing import Any

import pytest

from damagescore.errors import DamageScoreError, RecordError
from damagescore.inspection import (
    HandMeasurement,
    Inspection,
    Part,
    add_finding,
    add_hand_measurement,
    add_photo,
    assess_inspection,
    assessment_of,
    change_finding,
    confirm_all,
    confirm_finding,
    content_sha256,
    inspection_from_dict,
    inspection_to_dict,
    n_proposed,
    new_inspection,
    reject_finding,
    remove_hand_measurement,
    remove_photo,
    replace_measurement,
    set_part,
    sign_inspection,
    state_of,
    suggested_dispositions,
    supersede,
    undo,
)
from damagescore.limits import Criterion
from damagescore.quantity import Measured, NotMeasured
from tests.inspection_samples import (
    AT,
    BY,
    SHA,
    inspected,
    limits,
    line_finding,
    measurement,
    mm,
)

SIGN: dict[str, Any] = {
    "name": BY, "authorisation": "HV-17", "statement": "Inspected as shown.", "at": AT,
}  # fmt: skip


def _two() -> Inspection:
    return inspected(line_finding("crack-1", (0, 50)), line_finding("crack-2", (100, 350)))


def _content(inspection: Inspection) -> Inspection:
    return replace(inspection, edits=())


def test_a_new_record_knows_when_and_by_whom() -> None:
    begun = new_inspection(Part(part_number=" HV-2210 "), by=BY, at="2031-04-30T11:15:00+02:00")
    assert begun.part.part_number == "HV-2210"
    assert begun.created_at == AT
    assert [(e.number, e.action, e.by, e.at) for e in begun.edits] == [(1, "begin", BY, AT)]
    assert new_inspection().id != new_inspection().id
    assert begun.software.startswith("damagescore ")


def test_review_is_kept_with_who_when_and_why() -> None:
    record = confirm_finding(_two(), SHA, "crack-1", by=BY, at=AT)
    record = reject_finding(record, SHA, "crack-2", by=BY, reason="moulding line", at=AT)
    (entry,) = record.photos
    assert (state_of(entry, "crack-1"), state_of(entry, "crack-2")) == ("confirmed", "rejected")
    assert entry.reviews["crack-2"].reason == "moulding line"
    assert n_proposed(record) == 0
    assert [(e.number, e.action, e.reason) for e in record.edits[2:]] == [
        (3, "confirm", ""), (4, "reject", "moulding line"),
    ]  # fmt: skip
    # The finding stays listed.
    assert len(entry.measurement["findings"]) == 2
    assert record.edits[3].target == "crack-2, photo 1 (a.jpg)"


def test_functions_leave_their_record_alone() -> None:
    record = _two()
    before = json.dumps(inspection_to_dict(record))
    confirm_all(record, SHA, by=BY)
    remove_photo(record, SHA, by=BY, reason="wrong part")
    assert json.dumps(inspection_to_dict(record)) == before


@pytest.mark.parametrize("reason", ["", "  \n "])
def test_reasons_are_needed(reason: str) -> None:
    with pytest.raises(RecordError, match="reason for rejecting"):
        reject_finding(_two(), SHA, "crack-1", by=BY, reason=reason)
    with pytest.raises(RecordError, match="reason for removing"):
        remove_photo(_two(), SHA, by=BY, reason=reason)


def test_a_review_needs_a_name_and_a_finding() -> None:
    with pytest.raises(RecordError, match="reviewer's name is empty"):
        confirm_finding(_two(), SHA, "crack-1", by=" ")
    with pytest.raises(RecordError, match="no finding 'crack-9'"):
        confirm_finding(_two(), SHA, "crack-9", by=BY)
    with pytest.raises(RecordError, match="no photo"):
        confirm_finding(_two(), "b" * 64, "crack-1", by=BY)


def test_confirm_all_leaves_reviewed_findings_alone() -> None:
    record = reject_finding(_two(), SHA, "crack-1", by=BY, reason="dust")
    record = confirm_all(record, SHA, by=BY)
    assert state_of(record.photos[0], "crack-1") == "rejected"
    assert state_of(record.photos[0], "crack-2") == "confirmed"
    assert len(record.edits) == 4


def test_a_corrected_finding_comes_with_its_totals_and_is_confirmed() -> None:
    record = _two()
    corrected = measurement(line_finding("crack-1", (0, 80)), line_finding("other", (0, 9)))
    record = change_finding(
        record, SHA, "crack-1", measurement=corrected, by=BY, reason="reached further"
    )
    (entry,) = record.photos
    ids = [f["id"] for f in entry.measurement["findings"]]
    assert ids == ["crack-1", "crack-2"]
    assert entry.measurement["findings"][0]["quantities"]["length"]["value"] == 3.2
    assert state_of(entry, "crack-1") == "confirmed"
    assert record.edits[-1].action == "replace_geometry"
    with pytest.raises(RecordError, match="has no finding 'crack-2'"):
        change_finding(record, SHA, "crack-2", measurement=corrected, by=BY)


def test_an_added_finding_is_confirmed_and_new() -> None:
    more = measurement(line_finding("crack-t1", (10, 20)))
    record = add_finding(_two(), SHA, "crack-t1", measurement=more, by=BY)
    (entry,) = record.photos
    assert [f["id"] for f in entry.measurement["findings"]] == [
        "crack-1",
        "crack-2",
        "crack-t1",
    ]
    assert entry.measurement["totals"] == more["totals"]
    assert state_of(entry, "crack-t1") == "confirmed"
    with pytest.raises(RecordError, match="already has a finding"):
        add_finding(record, SHA, "crack-t1", measurement=more, by=BY)


def test_a_new_measurement_is_proposed_anew() -> None:
    record = confirm_all(_two(), SHA, by=BY)
    record = replace_measurement(
        record, SHA, measurement=measurement(line_finding("crack-1", (0, 90))), by=BY
    )
    assert n_proposed(record) == 1
    assert record.photos[0].name == "a.jpg"


def test_a_photo_is_added_once() -> None:
    with pytest.raises(RecordError, match="already has this photo"):
        add_photo(_two(), sha256=SHA, name="b.jpg", measurement=measurement())


def test_what_json_does_not_have_is_refused() -> None:
    bad = {**measurement(), "version": float("nan")}
    with pytest.raises(RecordError, match="cannot be kept"):
        add_photo(new_inspection(), sha256=SHA, name="b.jpg", measurement=bad)
    with pytest.raises(RecordError, match="view"):
        add_photo(new_inspection(), sha256=SHA, name="b", measurement={"view": "top"})


def test_undo_takes_back_one_after_the_other() -> None:
    states = [_two()]
    more = measurement(line_finding("crack-t1", (10, 20)))
    depth = HandMeasurement(quantity="crack_depth", value=mm(1.1, 0.1), gauge_id="G-4", by=BY,
                            at=AT)  # fmt: skip
    for change in (
        lambda r: set_part(r, Part(part_number="HV-2211"), by=BY),
        lambda r: confirm_finding(r, SHA, "crack-1", by=BY),
        lambda r: reject_finding(r, SHA, "crack-1", by=BY, reason="dust"),
        lambda r: add_finding(r, SHA, "crack-t1", measurement=more, by=BY),
        lambda r: add_hand_measurement(r, depth),
        lambda r: remove_hand_measurement(r, 1, by=BY, reason="wrong gauge"),
        lambda r: replace_measurement(r, SHA, measurement=more, by=BY),
        lambda r: remove_photo(r, SHA, by=BY, reason="wrong part"),
    ):
        states.append(change(states[-1]))
    record = states[-1]
    for state in reversed(states[:-1]):
        record = undo(record, by=BY, reason="slip")
        assert _content(record) == _content(state)
    # Nothing is lost from the list: 10 edits and 8 that take them back.
    assert [e.number for e in record.edits] == list(range(1, 19))
    assert record.edits[-1].target == "edit 3"
    gone = undo(record, by=BY)  # the photo itself
    assert gone.photos == ()
    with pytest.raises(RecordError, match="no change to take back"):
        undo(gone, by=BY)


def test_undo_after_undo_and_a_new_change() -> None:
    record = undo(confirm_finding(_two(), SHA, "crack-1", by=BY), by=BY)
    record = confirm_finding(record, SHA, "crack-2", by=BY)
    record = undo(record, by=BY)
    assert n_proposed(record) == 2
    assert [e.target for e in record.edits if e.action == "undo"] == ["edit 3", "edit 5"]


def test_the_assessment_follows_every_change() -> None:
    record = assess_inspection(_two(), limits(), by=BY)
    assert _outcome(record) == "exceeded"  # crack-2 is 10 mm, the limit 5 mm
    record = reject_finding(record, SHA, "crack-2", by=BY, reason="moulding line")
    assert _outcome(record) == "within"
    assert _outcome(undo(record, by=BY)) == "exceeded"
    assert record.limit_set == limits().to_dict()
    again = assess_inspection(record, limits(), by=BY)
    assert again is record


def test_proposals_count_and_are_told() -> None:
    record = assess_inspection(_two(), limits(), by=BY)
    found = assessment_of(record)
    assert found is not None
    assert (found.n_proposed, found.outcome, found.confirmed_outcome) == (
        2,
        "exceeded",
        "within",
    )
    assert assessment_of(_two()) is None


def _outcome(record: Inspection) -> str:
    assert record.assessment is not None
    return str(record.assessment["outcome"])


def _ready(*, short: bool = True) -> Inspection:
    record = inspected(line_finding("crack-1", (0, 50 if short else 300)))
    return assess_inspection(confirm_all(record, SHA, by=BY), limits(), by=BY)


def test_signing_seals_the_record() -> None:
    signed = sign_inspection(_ready(), disposition="continue_in_service", **SIGN)
    assert signed.signature is not None
    assert signed.signature.content_sha256 == content_sha256(signed)
    assert signed.edits[-1].action == "sign"
    with pytest.raises(RecordError, match="was signed on"):
        confirm_finding(signed, SHA, "crack-1", by=BY)
    for change in (
        lambda r: undo(r, by=BY),
        lambda r: set_part(r, Part(), by=BY),
        lambda r: assess_inspection(r, limits()),
        lambda r: sign_inspection(r, disposition="remove", reason="x", **SIGN),
        lambda r: remove_photo(r, SHA, by=BY, reason="x"),
    ):
        with pytest.raises(RecordError, match="signed"):
            change(signed)


@pytest.mark.parametrize("name", ["name", "authorisation", "statement"])
def test_signing_needs_every_field(name: str) -> None:
    with pytest.raises(RecordError, match=f"{name}.* is empty"):
        sign_inspection(_ready(), disposition="continue_in_service", **{**SIGN, name: " "})


def test_signing_needs_an_assessment_and_a_review() -> None:
    with pytest.raises(RecordError, match="not assessed"):
        sign_inspection(confirm_all(_two(), SHA, by=BY), disposition="remove", **SIGN)
    with pytest.raises(RecordError, match="2 findings are not reviewed"):
        sign_inspection(assess_inspection(_two(), limits()), disposition="remove", **SIGN)
    one = assess_inspection(confirm_finding(_two(), SHA, "crack-1", by=BY), limits())
    with pytest.raises(RecordError, match="1 finding is not reviewed"):
        sign_inspection(one, disposition="remove", **SIGN)
    with pytest.raises(RecordError, match="disposition is 'scrap'"):
        sign_inspection(_ready(), disposition="scrap", **SIGN)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("short", "disposition", "needed"),
    [
        (True, "continue_in_service", False), (True, "remove", True), (True, "refer", True),
        (False, "remove", False), (False, "continue_in_service", True),
        (False, "reinspect", True),
    ],
)  # fmt: skip
def test_a_disposition_against_the_assessment_needs_a_reason(
    short: bool, disposition: Any, needed: bool
) -> None:
    record = _ready(short=short)
    if needed:
        with pytest.raises(RecordError, match="differs from it without a reason"):
            sign_inspection(record, disposition=disposition, **SIGN)
    signed = sign_inspection(record, disposition=disposition, reason="see order", **SIGN)
    assert signed.signature is not None
    assert signed.signature.reason == "see order"
    if not needed:
        sign_inspection(record, disposition=disposition, **SIGN)


def test_undecided_parts_are_referred_or_inspected_again() -> None:
    for outcome in ("borderline", "not_fully_assessed"):
        assert suggested_dispositions(outcome) == ("refer", "reinspect")


def test_the_hash_covers_everything_that_was_signed() -> None:
    signed = sign_inspection(_ready(), disposition="continue_in_service", **SIGN)
    assert signed.signature is not None
    seal = signed.signature.content_sha256
    for changed in (
        replace(signed, part=Part(part_number="HV-2211")),
        replace(signed, edits=signed.edits[:-1]),
        replace(signed, assessment=None),
        replace(signed, photos=()),
        replace(signed, signature=replace(signed.signature, disposition="remove")),
        replace(signed, signature=replace(signed.signature, name="J. Elm")),
    ):
        assert content_sha256(changed) != seal
    other = replace(signed, signature=replace(signed.signature, content_sha256="x"))
    assert content_sha256(other) == seal


def test_the_hash_is_that_of_canonical_json() -> None:
    record = new_inspection(Part(description="größer"), at=AT, inspection_id="one")
    text = json.dumps(
        inspection_to_dict(record), sort_keys=True, separators=(",", ":"), ensure_ascii=False
    )
    assert content_sha256(record) == hashlib.sha256(text.encode("utf-8")).hexdigest()
    turned = dict(reversed(inspection_to_dict(record).items()))
    assert content_sha256(inspection_from_dict(turned)) == content_sha256(record)


def test_superseding_keeps_the_content_and_names_the_old_record() -> None:
    signed = sign_inspection(_ready(), disposition="continue_in_service", **SIGN)
    new = supersede(signed, reason="wrong serial number", by=BY, at=AT)
    assert new.id != signed.id
    assert (new.supersedes, new.supersede_reason) == (signed.id, "wrong serial number")
    assert (new.photos, new.signature) == (signed.photos, None)
    assert [(e.number, e.action) for e in new.edits] == [(1, "supersede")]
    assert set_part(new, Part(serial_number="7"), by=BY).part.serial_number == "7"
    with pytest.raises(RecordError, match="not signed"):
        supersede(new, reason="x", by=BY)
    with pytest.raises(RecordError, match="is empty"):
        supersede(signed, reason=" ", by=BY)


def test_hand_measurements_are_checked_and_kept_in_millimetres() -> None:
    inch = Measured(value=0.1, u=0.01, unit="in")
    hand = HandMeasurement(quantity="crack_depth", value=inch, gauge_id=" G-4 ", by=BY, at=AT)
    record = add_hand_measurement(new_inspection(), hand)
    assert record.hand[0].value == Measured(value=2.54, u=0.254, unit="mm")
    assert record.hand[0].gauge_id == "G-4"
    for fault, match in (
        (replace(hand, quantity="crack_length"), "not measured by hand"),
        (replace(hand, gauge_id=""), "gauge's id is empty"),
        (replace(hand, by=""), "name is empty"),
        (replace(hand, at="noon"), "'noon', not an ISO 8601"),
        (replace(hand, at="2031-04-30T09:15:00"), "with its offset"),
        (replace(hand, layer=-1), "layer is -1"),
        (replace(hand, value=mm(-0.1)), "below 0"),
        (replace(hand, value=Measured(value=1, u=0, unit="%")), "in '%'"),
        (replace(hand, value=NotMeasured(reason="", unit="mm")), "reason is empty"),
        (replace(hand, quantity="stiffness_retention"), "Give it in %"),
    ):
        with pytest.raises(RecordError, match=match):
            add_hand_measurement(new_inspection(), fault)
    with pytest.raises(RecordError, match="no hand measurement 2"):
        remove_hand_measurement(record, 2, by=BY, reason="x")
    with pytest.raises(RecordError, match="no hand measurement 0"):
        remove_hand_measurement(record, 0, by=BY, reason="x")


def test_a_depth_that_was_not_probed_leaves_the_part_open() -> None:
    deep = Criterion(id="d", text="deeper than 2 mm", quantity="crack_depth", limit=2.0,
                     unit="mm")  # fmt: skip
    record = assess_inspection(_ready(), limits(deep))
    assert _outcome(record) == "not_fully_assessed"
    hand = HandMeasurement(quantity="crack_depth", value=mm(1.1, 0.1), gauge_id="G-4", by=BY,
                           at=AT)  # fmt: skip
    assert _outcome(add_hand_measurement(record, hand)) == "within"


@pytest.mark.parametrize(
    "name",
    ["'; DROP TABLE parts; --", "<script>alert(1)</script>", "../../etc", "=1+1", "Ω №5"],
)
def test_hostile_names_are_kept_as_text(name: str) -> None:
    record = new_inspection(Part(part_number=name, description=name))
    assert record.part.part_number == name
    back = inspection_from_dict(json.loads(json.dumps(inspection_to_dict(record))))
    assert back == record


@pytest.mark.parametrize(
    ("part", "match"),
    [
        (Part(part_number="a\x00b"), "part number holds the control character U\\+0000"),
        (Part(serial_number="a\nb"), "U\\+000A"),
        (Part(position="a\u202eb"), "U\\+202E"),
        (Part(work_order="\ud800"), "U\\+D800"),
        (Part(description="x" * 201), "201 characters, more than 200"),
        (Part(part_number=7), "not a text"),  # type: ignore[arg-type]
        (Part(hours=-1.0), "hours are '-1.0'"),
        (Part(cycles=float("nan")), "cycles are 'nan'"),
        (Part(cycles=float("inf")), "cycles are 'inf'"),
        (Part(hours=True), "hours are 'True'"),
    ],
)  # fmt: skip
def test_senseless_parts_are_refused(part: Part, match: str) -> None:
    with pytest.raises(RecordError, match=match):
        new_inspection(part)
    with pytest.raises(RecordError, match=match):
        set_part(new_inspection(), part, by=BY)


def test_longest_allowed_texts() -> None:
    assert len(new_inspection(Part(description="x" * 200)).part.description) == 200
    record = reject_finding(_two(), SHA, "crack-1", by=BY, reason="line one\nline two")
    assert "\n" in record.photos[0].reviews["crack-1"].reason
    with pytest.raises(RecordError, match="2001 characters"):
        reject_finding(_two(), SHA, "crack-1", by=BY, reason="x" * 2001)


@pytest.mark.parametrize(
    "plain",
    [
        {}, {"schema": "other/1"}, [], None,
        {"schema": "damagescore/inspection/1"},
        {**inspection_to_dict(new_inspection()), "colour": 1},
        {**inspection_to_dict(new_inspection()), "photos": [{}]},
        {**inspection_to_dict(new_inspection()), "edits": 3},
        {**inspection_to_dict(new_inspection()), "part": None},
    ],
)  # fmt: skip
def test_damaged_records_are_refused(plain: Any) -> None:
    with pytest.raises(DamageScoreError, match=r"schema|damaged"):
        inspection_from_dict(plain)
