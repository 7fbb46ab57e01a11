"""The text of a record is the canonical JSON, whatever was remembered of it."""

from dataclasses import replace

from damagescore.inspection import (
    Inspection,
    assess_inspection,
    confirm_finding,
    inspection_to_dict,
    redo,
    reject_finding,
    undo,
)
from damagescore.inspection.seal import sorted_json
from damagescore.records.body import MOST_RECORDS, BodyWriter
from tests.inspection_samples import BY, SHA, inspected, limits, line_finding


def _plain(record: Inspection) -> str:
    return sorted_json(inspection_to_dict(record))


def test_each_state_is_written_as_the_plain_way_writes_it() -> None:
    writer = BodyWriter()
    record = inspected(line_finding("crack-1", (0, 50)), line_finding("crack-2", (60, 90)))
    for change in (
        lambda r: r,
        lambda r: confirm_finding(r, SHA, "crack-1", by=BY),
        lambda r: reject_finding(r, SHA, "crack-2", by=BY, reason='dust, "grey" – ä'),
        lambda r: undo(r, by=BY, photo=SHA),
        lambda r: redo(r, by=BY, photo=SHA),
        lambda r: assess_inspection(r, limits(), by=BY),
        lambda r: replace(r, photos=()),
        lambda r: replace(r, edits=r.edits[:1]),
    ):
        record = change(record)
        assert writer.write(record) == _plain(record)


def test_records_do_not_mix_and_the_oldest_are_forgotten() -> None:
    writer = BodyWriter()
    first = inspected(line_finding("crack-1", (0, 50)))
    for number in range(2 * MOST_RECORDS):
        other = replace(first, id=f"record-{number}")
        other = confirm_finding(other, SHA, "crack-1", by=f"B. {number}")
        assert writer.write(other) == _plain(other)
        assert writer.write(first) == _plain(first)
