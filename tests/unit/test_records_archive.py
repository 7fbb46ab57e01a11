"""Archives hold a whole record, are checked without the store, and let it go in time."""

import io
import json
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from damagescore.errors import RecordError
from damagescore.inspection import sign_inspection
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.records import Store
from damagescore.records.archive import write_archive
from damagescore.records.archive_check import check_archive
from damagescore.records.keys import make_key, unlock_key
from damagescore.records.retention import dispose, past_period
from tests.record_samples import an_inspection

LATER = datetime(2030, 1, 1, tzinfo=UTC)
SIGN = {
    "name": "R. Alder", "authorisation": "HV-7", "statement": "Seen.", "disposition": "remove",
    "at": "2026-11-25T10:00:00+00:00",
}  # fmt: skip


def sealed(store: Store, name: str = "rec-1", *, photo: bytes = b"photo") -> Inspection:
    """Save a sealed record with a photo."""
    made = make_key(store, name="R. Alder", authorisation="HV-7", passphrase="snow on alders")
    key = unlock_key(store, made.public_key, "snow on alders")
    entry = PhotoEntry(sha256=store.put_photo(photo), name="a.jpg", view="face")
    draft = an_inspection(
        name, photos=(entry,), assessment={"outcome": "exceeded", "score": 140.0},
        limit_set={"title": "Invented", "limit": 5.0},
    )  # fmt: skip
    record = sign_inspection(draft, key=key, **SIGN)
    store.save(record)
    return record


def archived(store: Store, tmp_path: Path, name: str = "rec-1") -> Path:
    path = tmp_path / f"{name}.zip"
    write_archive(store, name, path, by="R. Alder", papers={"report.pdf": b"%PDF-"})
    return path


def changed(path: Path, name: str, change: Callable[[bytes], bytes]) -> Path:
    """Write an archive in which one file is another, and the list of files agrees."""
    out = path.with_name("changed.zip")
    with zipfile.ZipFile(path) as given, zipfile.ZipFile(out, "w") as made:
        listed = json.loads(given.read("archive.json"))
        for member in given.namelist():
            data = given.read(member)
            if member == name:
                data = change(data)
                import hashlib  # noqa: PLC0415

                listed["files"][name] = hashlib.sha256(data).hexdigest()
            if member != "archive.json":
                made.writestr(member, data)
        made.writestr("archive.json", json.dumps(listed))
    return out


def test_an_archive_holds_the_record_and_is_checked_without_the_store(
    store: Store, tmp_path: Path
) -> None:
    record = sealed(store)
    sealed(store, "rec-2")
    path = archived(store, tmp_path)
    found = check_archive(path)
    assert found.problems == ()
    assert found.record_id == "rec-1"
    assert found.head == store.chain_head()
    assert any("sealed with the key" in note for note in found.notes)
    with zipfile.ZipFile(path) as given:
        assert given.read(f"photos/{record.photos[0].sha256}") == b"photo"
        assert json.loads(given.read("record.json"))["id"] == "rec-1"
    assert store.audit_log()[0].action == "archive"


@pytest.mark.parametrize(
    ("name", "before", "after", "told"),
    [
        ("record.json", b"0042", b"0043", "its content does not have the hash"),
        ("record.json", b'"disposition":"remove"', b'"disposition":"refer"', "does not have"),
        ("links.json", b'"position": 1', b'"position": 2', "Link 2 was altered"),
        ("links.json", b"rec-1", b"rec-9", "its link has another hash"),
        ("keys.json", b"R. Alder", b"B. Rowan", "does not have the key of R. Alder"),
        ("limits.json", b"5", b"50", "limits.json differs"),
        ("photos", b"photo", b"photograph", "Photo 1 (a.jpg) was altered"),
    ],
)
def test_any_change_in_an_archive_is_told(
    store: Store, tmp_path: Path, name: str, before: bytes, after: bytes, told: str
) -> None:
    record = sealed(store)
    path = archived(store, tmp_path)
    full = f"photos/{record.photos[0].sha256}" if name == "photos" else name

    def change(data: bytes) -> bytes:
        assert before in data
        return data.replace(before, after)

    assert told in "\n".join(check_archive(changed(path, full, change)).problems)


def test_an_archive_that_lacks_or_adds_a_file_is_told(store: Store, tmp_path: Path) -> None:
    record = sealed(store)
    path = archived(store, tmp_path)
    out = tmp_path / "other.zip"
    with zipfile.ZipFile(path) as given, zipfile.ZipFile(out, "w") as made:
        for member in given.namelist():
            if not member.startswith("photos/"):
                made.writestr(member, given.read(member))
        made.writestr("papers/other.pdf", b"x")
    assert set(check_archive(out).problems) == {
        f"photos/{record.photos[0].sha256} is missing.",
        "papers/other.pdf is not in the list of files.",
        "Photo 1 (a.jpg) is missing.",
    }


def test_a_draft_is_archived_as_a_draft(store: Store, tmp_path: Path) -> None:
    store.save(an_inspection())
    found = check_archive(archived(store, tmp_path))
    assert (found.problems, found.head) == ((), "")
    assert "The record is not signed: it is a draft." in found.notes


def bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as made:
        made.writestr("a", bytes(64 * 2**20))
    return out.getvalue()


def named(name: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        made.writestr(name, b"x")
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (bomb, "unpacks to 67108864 bytes"),
        (lambda: named("../record.json"), "names the file '../record.json'"),
        (lambda: named("/etc/passwd"), "names the file '/etc/passwd'"),
        (lambda: named("a/../../b"), "names the file"),
        (lambda: named("a\\..\\b"), "names the file"),
        (lambda: named("other"), "has no archive.json"),
        (lambda: b"PK but no more", "not a usable file"),
        (lambda: b"", "not a usable file"),
    ],
    ids=["bomb", "up", "root", "inside", "backslash", "other", "cut", "empty"],
)
def test_hostile_files_are_refused_in_one_sentence(
    tmp_path: Path, content: Callable[[], bytes], told: str
) -> None:
    path = tmp_path / "a.zip"
    path.write_bytes(content())
    with pytest.raises(RecordError) as caught:
        check_archive(path)
    assert told in str(caught.value)
    assert [p.name for p in tmp_path.iterdir()] == ["a.zip"]


def test_an_archive_that_cannot_be_written_leaves_nothing(store: Store, tmp_path: Path) -> None:
    sealed(store)
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordError, match="cannot be written"):
        archived(store, tmp_path / "file")
    photo = next((store.folder / "photos").rglob("*/*"))
    photo.write_bytes(b"other")
    with pytest.raises(RecordError, match="was altered"):
        archived(store, tmp_path)
    assert not list(tmp_path.glob("*.zip"))
    assert not list(tmp_path.glob(".part-*"))


def test_only_records_past_the_period_are_listed(store: Store) -> None:
    sealed(store)
    assert past_period(store, years=2, now=datetime(2028, 11, 25, 9, tzinfo=UTC)) == []
    (found,) = past_period(store, years=2, now=datetime(2028, 11, 25, 11, tzinfo=UTC))
    assert found.id == "rec-1"
    assert past_period(store, years=3, now=datetime(2028, 2, 29, tzinfo=UTC)) == []
    with pytest.raises(RecordError, match="0 years"):
        past_period(store, years=0)


def test_a_signed_record_goes_only_with_an_archive_that_holds(
    store: Store, tmp_path: Path
) -> None:
    record = sealed(store)
    kept = sealed(store, "rec-2", photo=b"photo of another")
    path, other = archived(store, tmp_path), archived(store, tmp_path, "rec-2")
    bad = changed(path, "record.json", lambda data: data.replace(b"0042", b"0043"))
    gone = {"years": 2, "by": "R. Alder", "now": LATER}
    for archive, told in (
        (None, "without an archive"), (bad, "does not hold"), (other, "does not hold record"),
    ):  # fmt: skip
        with pytest.raises(RecordError, match=told):
            dispose(store, "rec-1", archive=archive, **gone)
    with pytest.raises(RecordError, match="not past the 9 years"):
        dispose(store, "rec-1", archive=path, **{**gone, "years": 9})
    assert store.load("rec-1") == record
    dispose(store, "rec-1", archive=path, **gone)
    assert [s.id for s in store.search()] == ["rec-2"]
    assert store.photo_keys() == [kept.photos[0].sha256]
    found = store.examine()
    assert found.problems == ()
    assert "Record rec-1 was disposed of" in found.notes[0]
    assert check_archive(path).problems == ()


def test_a_photo_that_another_record_has_stays(store: Store, tmp_path: Path) -> None:
    sealed(store)
    sealed(store, "rec-2")
    dispose(
        store, "rec-1", years=2, by="R. Alder", now=LATER, archive=archived(store, tmp_path)
    )
    assert len(store.photo_keys()) == 1
    assert store.verify() == []


def test_a_superseded_record_goes_after_the_one_that_took_its_place(
    store: Store, tmp_path: Path
) -> None:
    sealed(store)
    store.save(an_inspection("rec-2", supersedes="rec-1", supersede_reason="serial"))
    with pytest.raises(RecordError, match="superseded by rec-2, which is kept"):
        dispose(
            store, "rec-1", years=2, by="R. Alder", now=LATER,
            archive=archived(store, tmp_path),
        )  # fmt: skip
    dispose(store, "rec-2", years=2, by="R. Alder", now=LATER)
    assert store.audit_log(limit=1)[0].detail == "a draft"
