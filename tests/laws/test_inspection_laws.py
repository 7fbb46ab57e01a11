"""Round trips of records, and undoing whatever was done."""

import json
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.inspection import (
    Edit,
    HandMeasurement,
    Inspection,
    Part,
    PhotoEntry,
    Review,
    Signature,
    confirm_finding,
    content_sha256,
    inspection_from_dict,
    inspection_to_dict,
    reject_finding,
    set_part,
    undo,
)
from damagescore.quantity import Contribution, Measured, NotMeasured, from_budget
from tests.inspection_samples import BY, SHA, inspected, line_finding

texts = st.text(st.characters(codec="utf-8"), max_size=20)
floats = st.floats(allow_nan=False, allow_infinity=False)
plain = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | floats | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=8,
)
mappings = st.dictionaries(texts, plain, max_size=3)
spreads = st.floats(0, 1e6)
quantities = st.one_of(
    st.builds(NotMeasured, reason=texts, unit=st.sampled_from(["mm", "%"])),
    st.builds(
        Measured, value=floats, u=spreads, unit=st.sampled_from(["mm", "%"]),
        budget=st.lists(
            st.builds(Contribution, source=texts, u=spreads), max_size=2
        ).map(tuple),
    ),
)  # fmt: skip
reviews = st.builds(
    Review, state=st.sampled_from(["proposed", "confirmed", "rejected"]), by=texts, at=texts,
    reason=texts,
)  # fmt: skip
photos = st.builds(
    PhotoEntry, sha256=texts, name=texts, view=st.sampled_from(["face", "profile"]),
    options=mappings, measurement=mappings, reviews=st.dictionaries(texts, reviews, max_size=2),
)  # fmt: skip
parts = st.builds(
    Part, part_number=texts, serial_number=texts, description=texts, position=texts,
    hours=st.none() | floats, cycles=st.none() | floats, work_order=texts,
)  # fmt: skip
signatures = st.builds(
    Signature, name=texts, authorisation=texts, statement=texts,
    disposition=st.sampled_from(["continue_in_service", "remove", "refer", "reinspect"]),
    reason=texts, at=texts, content_sha256=texts,
)  # fmt: skip
inspections = st.builds(
    Inspection, id=texts, created_at=texts, part=parts,
    photos=st.lists(photos, max_size=2).map(tuple),
    hand=st.lists(
        st.builds(
            HandMeasurement, quantity=texts, value=quantities, gauge_id=texts, by=texts,
            at=texts, layer=st.none() | st.integers(0, 20), note=texts,
        ),
        max_size=2,
    ).map(tuple),
    edits=st.lists(
        st.builds(
            Edit, number=st.integers(1, 9), at=texts, by=texts, action=texts, target=texts,
            reason=texts, before=plain, after=plain,
        ),
        max_size=2,
    ).map(tuple),
    limit_set=st.none() | mappings, assessment=st.none() | mappings,
    signature=st.none() | signatures, supersedes=st.none() | texts, supersede_reason=texts,
    software=texts,
)  # fmt: skip


@settings(deadline=None)
@given(inspections)
def test_a_record_comes_back_exactly(record: Inspection) -> None:
    text = json.dumps(inspection_to_dict(record), allow_nan=False)
    back = inspection_from_dict(json.loads(text))
    assert back == record
    assert content_sha256(back) == content_sha256(record)


@settings(deadline=None)
@given(inspections, inspections)
def test_records_that_differ_have_different_hashes(one: Inspection, other: Inspection) -> None:
    same = _unsealed(one) == _unsealed(other)
    assert (content_sha256(one) == content_sha256(other)) == same


def _unsealed(record: Inspection) -> str:
    signature = record.signature
    bare = None if signature is None else replace(signature, content_sha256="")
    # As JSON: True and 1 are equal in Python, but not in a record.
    return json.dumps(inspection_to_dict(replace(record, signature=bare)), sort_keys=True)


changes = st.lists(st.sampled_from(["confirm", "reject", "part", "undo"]), max_size=12)


def _apply(record: Inspection, change: str, number: int) -> Inspection:
    if change == "confirm":
        return confirm_finding(record, SHA, f"crack-{number % 2}", by=BY)
    if change == "reject":
        return reject_finding(record, SHA, f"crack-{number % 2}", by=BY, reason="dust")
    return set_part(record, Part(part_number=f"HV-{number}"), by=BY)


@settings(deadline=None)
@given(changes)
def test_undo_is_a_stack(names: list[str]) -> None:
    start = inspected(line_finding("crack-0", (0, 50)), line_finding("crack-1", (60, 99)))
    stack = [start]
    record = start
    for number, name in enumerate(names):
        if name != "undo":
            record = _apply(record, name, number)
            stack.append(record)
        elif len(stack) > 1:
            record = undo(record, by=BY)
            stack.pop()
        assert replace(record, edits=()) == replace(stack[-1], edits=())
    assert [e.number for e in record.edits] == list(range(1, len(record.edits) + 1))
    assert record.edits[: len(start.edits)] == start.edits


@given(floats, spreads)
def test_hand_values_come_back_exactly(value: float, u: float) -> None:
    quantity = from_budget(value, [Contribution(source="gauge", u=u)], unit="mm")
    hand = HandMeasurement(quantity="crack_depth", value=quantity, gauge_id="G", by="b", at="a")
    record = Inspection(id="one", created_at="now", hand=(hand,))
    assert inspection_from_dict(inspection_to_dict(record)).hand == (hand,)
