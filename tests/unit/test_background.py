"""Photos are measured beside the page: nothing is lost, and each fault is told."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import ClassVar

import pytest

from damagescore.inspection import new_inspection, set_part
from damagescore.inspection.record import Inspection, Part
from damagescore.measure import MeasureOptions
from damagescore.records import Store
from damagescore.ui.background import Desk, Waiting, waiting_for
from damagescore.ui.background.desk import with_measured
from damagescore.ui.background.waiting import WaitingRoom
from damagescore.ui.measuring import options_to_dict
from tests.ui.filled import measurement, photo_file

SECONDS = 60  # two processes start and read their packages on a busy machine

OPTIONS = options_to_dict(MeasureOptions())


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as opened:
        yield opened


def _record(store: Store) -> Inspection:
    made = new_inspection(Part(serial_number="0117"), by="R. Alder")
    store.save(made, expected_revision=0)
    return made


def _photo(store: Store, record: Inspection, data: bytes, name: str) -> Waiting:
    sha256 = store.put_photo(data)
    return waiting_for(
        record.id, sha256=sha256, name=name, options=OPTIONS, by="R. Alder"
    )  # fmt: skip


def test_what_a_server_left_is_taken_up_and_what_fails_is_told(store: Store) -> None:
    record = _record(store)
    whole = photo_file()
    room = WaitingRoom(folder=store.folder / "waiting")
    room.put(_photo(store, record, whole, "edge.png"))
    room.put(_photo(store, record, whole[: len(whole) // 2], "cut.png"))
    desk = Desk(store, workers=1)
    try:
        assert desk.settled(record.id, seconds=SECONDS)
        (failed,) = desk.progress(record.id)
    finally:
        desk.close()
    assert [p.name for p in store.load(record.id).photos] == ["edge.png"]
    assert store.load(record.id).edits[-1].by == "R. Alder"
    assert "cut.png" in failed.words
    assert "\n" not in failed.words
    # The fault is still there for the next server, until somebody has read it.
    assert [w.fault for w in room.all()] == [failed.photo.fault]


class Contested(Store):
    """A store in which somebody else saves each record once, just before its next saving."""

    def save(self, inspection: Inspection, *, expected_revision: int | None = None) -> int:
        if inspection.id not in self.contested and inspection.photos:
            self.contested.add(inspection.id)
            now = self.load(inspection.id)
            other = set_part(now, Part(serial_number="0118"), by="B. Rowan")
            super().save(other, expected_revision=expected_revision)
        return super().save(inspection, expected_revision=expected_revision)

    contested: ClassVar[set[str]] = set()


def test_a_result_and_the_change_of_somebody_else_are_both_kept(tmp_path: Path) -> None:
    with Contested(tmp_path) as store:
        record = _record(store)
        desk = Desk(store, workers=1)
        try:
            desk.hand_in([_photo(store, record, photo_file(), "edge.png")])
            assert desk.settled(record.id, seconds=SECONDS)
        finally:
            desk.close()
        kept = store.load(record.id)
    assert [p.name for p in kept.photos] == ["edge.png"]
    assert kept.part.serial_number == "0118"


def test_a_photo_that_was_announced_finds_a_process_that_has_started(store: Store) -> None:
    record = _record(store)
    desk = Desk(store, workers=2)
    try:
        for _ in range(3):  # each run of the page announces it anew
            desk.expect()
        first = _process(desk)
        desk.hand_in([_photo(store, record, photo_file(), "edge.png")])
        assert desk.settled(record.id, seconds=SECONDS)
        assert _process(desk) == first
    finally:
        desk.close()
    assert [p.name for p in store.load(record.id).photos] == ["edge.png"]


def _process(desk: Desk) -> int:
    """The one process that there is."""
    until = time.monotonic() + SECONDS
    while not desk._crew.workers and time.monotonic() < until:
        time.sleep(0.01)  # until the thread of the desk has started it
    (worker,) = desk._crew.workers
    return worker.process.pid


def test_what_is_cancelled_is_not_measured(store: Store) -> None:
    record = _record(store)
    desk = Desk(store, workers=1)
    try:
        desk.hand_in([_photo(store, record, photo_file(), "edge.png")])
        desk.drop(p.photo.id for p in desk.progress(record.id))
        assert desk.settled(record.id, seconds=SECONDS)
    finally:
        desk.close()
    assert store.load(record.id).photos == ()
    assert WaitingRoom(folder=store.folder / "waiting").all() == []


def test_a_retaken_photo_stands_in_the_place_of_the_old_one_which_is_kept(
    store: Store,
) -> None:
    record = _record(store)
    plain = measurement(photo_file(), lines=()).to_dict()
    for name in ("first.png", "second.png"):
        record = with_measured(
            record, _photo(store, record, name.encode(), name), plain
        )  # fmt: skip
    old = record.photos[0]
    new = waiting_for(
        record.id, sha256="c" * 64, name="again.png", options=OPTIONS, by="R. Alder",
        replaces=old.sha256, reason="Out of focus",
    )  # fmt: skip
    record = with_measured(record, new, plain)
    assert [p.name for p in record.photos] == ["again.png", "second.png"]
    retaken = record.edits[-1]
    assert retaken.reason == "Replaced by again.png: Out of focus"
    assert retaken.before["entry"]["sha256"] == old.sha256


def test_photos_stand_in_the_order_handed_in_whichever_is_measured_first(store: Store) -> None:
    record = _record(store)
    plain = measurement(photo_file(), lines=()).to_dict()
    record = with_measured(record, _photo(store, record, b"there", "there.png"), plain)
    store.save(record)
    desk = Desk(store, workers=1)
    desk.close()  # nothing is measured: the results come in an order of our own
    names = ("1.png", "2.png", "3.png", "4.png")
    desk.hand_in(_photo(store, record, n.encode(), n) for n in names[:3])
    desk.hand_in([_photo(store, record, b"4.png", names[3])])
    queued = {w.name: w for w in WaitingRoom(folder=store.folder / "waiting").all()}
    for name in ("3.png", "1.png", "4.png", "2.png"):
        record = with_measured(record, queued[name], plain)
    assert [p.name for p in record.photos] == ["there.png", *names]


def test_what_waits_behind_a_photo_stays_behind_its_retake(store: Store) -> None:
    record = _record(store)
    plain = measurement(photo_file(), lines=()).to_dict()
    record = with_measured(record, _photo(store, record, b"first", "first.png"), plain)
    store.save(record)
    desk = Desk(store, workers=1)
    desk.close()
    desk.hand_in([_photo(store, record, b"second", "second.png")])
    again = waiting_for(
        record.id, sha256="c" * 64, name="again.png", options=OPTIONS, by="R. Alder",
        replaces=record.photos[0].sha256, reason="Out of focus",
    )  # fmt: skip
    desk.hand_in([again])
    (second, retake) = WaitingRoom(folder=store.folder / "waiting").all()
    record = with_measured(with_measured(record, retake, plain), second, plain)
    assert [p.name for p in record.photos] == ["again.png", "second.png"]


def test_a_queue_of_an_older_version_is_measured_behind_all(store: Store) -> None:
    assert _photo(store, _record(store), b"1", "1.png").place_in(["a" * 64, "b" * 64]) == 2


def test_a_photo_that_was_written_before_the_server_ended_is_not_added_twice(
    store: Store,
) -> None:
    record = _record(store)
    plain = measurement(photo_file(), lines=()).to_dict()
    photo = _photo(store, record, photo_file(), "edge.png")
    once = with_measured(record, photo, plain)
    assert with_measured(once, photo, plain) == once


def test_a_file_of_another_version_in_the_queue_is_passed_over(tmp_path: Path) -> None:
    (tmp_path / "1.json").write_text('{"id": "1", "unknown": 2}')
    (tmp_path / "2.json").write_text("not json")
    assert WaitingRoom(folder=tmp_path).all() == []
