"""What goes wrong in practice: one sentence each, and nothing that was signed is lost."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from damagescore.errors import RecordError
from damagescore.inspection.record import PhotoEntry
from damagescore.records import Filters, Store
from damagescore.records.backup import write_backup
from tests.record_samples import an_edit, an_inspection, signed

SAVES = """
import sys
from pathlib import Path
from tests.record_samples import an_inspection, signed
from damagescore.records import Store
store = Store(Path(sys.argv[1]))
for number in range(10_000):
    name = f"{sys.argv[2]}-{number}"
    store.save(an_inspection(name, supersede_reason="x" * 50_000))
    store.save(signed(an_inspection(name, supersede_reason="x" * 50_000)))
    print(name, flush=True)
"""


def test_killed_in_the_middle_of_saves_all_that_was_said_to_be_signed_is_there(
    tmp_path: Path,
) -> None:
    Store(tmp_path).close()
    running = [
        subprocess.Popen([sys.executable, "-c", SAVES, str(tmp_path), name],
                         stdout=subprocess.PIPE, text=True)
        for name in ("a", "b")
    ]  # fmt: skip
    said: list[str] = []
    for process in running:
        assert process.stdout is not None
        said += [process.stdout.readline().strip() for _ in range(3)]
    for process in running:
        process.send_signal(signal.SIGKILL)
        assert process.stdout is not None
        said += [line.strip() for line in process.stdout if line.endswith("\n")]
        process.stdout.close()
        process.wait()
    with Store(tmp_path) as store:
        kept = store.find(Filters(signed=True), limit=10_000)
        assert set(said) <= {s.id for s in kept.records}
        assert (
            len(said) <= kept.total <= len(said) + 2
        )  # a last one each may not have been said
        assert store.verify() == []
        store.save(signed(an_inspection("after")))


def test_fifty_people_at_one_record_are_told_and_no_edit_is_lost(store: Store) -> None:
    store.save(an_inspection())

    told: list[str] = []

    def edit(person: int) -> None:
        for _ in range(1000):
            revision, record = store.revision("rec-1"), store.load("rec-1")
            step = an_edit(len(record.edits) + 1, f"P. {person}")
            changed = replace(record, edits=(*record.edits, step))
            try:
                store.save(changed, expected_revision=revision)
                break
            except RecordError as fault:
                told.append(str(fault))

    with ThreadPoolExecutor(50) as pool:
        list(pool.map(edit, range(50)))
    kept = store.load("rec-1").edits
    assert len(kept) == 50
    assert {e.by for e in kept} == {f"P. {n}" for n in range(50)}
    assert store.revision("rec-1") == 51
    assert all("someone else" in text for text in told)


def test_fifty_people_sign_at_once_and_the_chain_holds(store: Store) -> None:
    ready = threading.Barrier(50)

    def sign(person: int) -> None:
        ready.wait()
        store.save(signed(an_inspection(f"rec-{person}")))

    with ThreadPoolExecutor(50) as pool:
        list(pool.map(sign, range(50)))
    seen = store.examine()
    assert (seen.problems, seen.n_records) == ((), 50)
    assert len(store.audit_log()) == 50


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own with 3 MB."""
    folder = tmp_path / "small"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(folder)],
        check=False, capture_output=True,
    )  # fmt: skip
    if made.returncode:
        pytest.skip("only root may make a small file system")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def fill_with_photos(store: Store) -> None:
    for _ in range(40):
        store.put_photo(os.urandom(200_000))


def fill_with_records(store: Store) -> None:
    for number in range(400):
        store.save(an_inspection(f"big-{number}", supersede_reason="x" * 100_000))


def test_a_full_disk_is_told_and_what_was_saved_stays(small_disk: Path) -> None:
    with Store(small_disk / "data") as store:
        store.save(signed(an_inspection("rec-1")))
        with pytest.raises(RecordError, match="full"):
            fill_with_photos(store)
        with pytest.raises(RecordError, match="full"):
            fill_with_records(store)
        with pytest.raises(RecordError, match=r"cannot be written|full"):
            write_backup(store, small_disk / "b.zip", by="R. Alder")
        assert not list(small_disk.rglob(".part-*"))
        assert store.load("rec-1") == signed(an_inspection("rec-1"))
        assert store.verify() == []


def test_a_folder_that_cannot_be_written_is_told(small_disk: Path) -> None:
    with Store(small_disk / "data") as store:
        store.save(signed(an_inspection("rec-1")))
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(RecordError, match=r"cannot be (written|opened)"):
        Store(small_disk / "data")
    with pytest.raises(RecordError, match="cannot be made"):
        Store(small_disk / "other")
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    with Store(small_disk / "data") as store:
        assert store.examine(photos=False).n_records == 1


def test_a_photo_that_is_lost_or_altered_is_told_by_record_and_number(store: Store) -> None:
    photos = tuple(
        PhotoEntry(sha256=store.put_photo(name.encode()), name=name, view="face")
        for name in ("a.jpg", "b.jpg")
    )
    store.save(signed(an_inspection(photos=photos)))
    lost, altered = (store.folder / "photos" / p.sha256[:2] / p.sha256[2:] for p in photos)
    lost.unlink()
    altered.write_bytes(b"another photo")
    first, second = store.verify()
    assert first.startswith("Record rec-1, photo 1 (a.jpg): The photo")
    assert "is missing" in first
    assert "photo 2 (b.jpg)" in second
    assert "was altered" in second
    with pytest.raises(RecordError, match="missing"):
        store.save(signed(an_inspection("rec-2", photos=photos)))
