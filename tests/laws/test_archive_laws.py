"""Whatever is done to an archive's bytes: it is refused, told, or holds what was signed."""

import io
import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.errors import RecordError
from damagescore.inspection import sign_inspection
from damagescore.inspection.record import PhotoEntry
from damagescore.records import Store
from damagescore.records.archive import write_archive
from damagescore.records.archive_check import check_archive
from tests.record_samples import AT, an_inspection


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    folder = tmp_path_factory.mktemp("archive")
    with Store(folder / "data") as store:
        photo = PhotoEntry(sha256=store.put_photo(b"photo" * 40), name="a.jpg", view="face")
        draft = an_inspection(photos=(photo,), assessment={"outcome": "exceeded"})
        record = sign_inspection(
            draft, name="R. Alder", authorisation="HV-7", statement="Seen.",
            disposition="remove", at=AT,
        )  # fmt: skip
        store.save(record)
        write_archive(store, "rec-1", folder / "a.zip", by="R. Alder", papers={})
    return (folder / "a.zip").read_bytes()


def what_counts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as given:
        names = [n for n in given.namelist() if n == "record.json" or n.startswith("photos/")]
        return {name: given.read(name) for name in names}


def refused_told_or_whole(data: bytes, before: bytes) -> None:
    with TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
        path = Path(folder) / "a.zip"
        path.write_bytes(data)
        try:
            problems = check_archive(path).problems
        except RecordError:
            return
        finally:
            assert [p.name for p in Path(folder).iterdir()] == ["a.zip"]
    assert problems or what_counts(data) == what_counts(before)


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_any_changed_bytes(archive: bytes, data: st.DataObject) -> None:
    changed = bytearray(archive)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(changed) - 1))
        changed[at] = data.draw(st.integers(0, 255))
    refused_told_or_whole(bytes(changed), archive)


@settings(max_examples=50, deadline=None)
@given(data=st.data())
def test_any_cut_or_moved_stretch(archive: bytes, data: st.DataObject) -> None:
    first, last = sorted(data.draw(st.tuples(*[st.integers(0, len(archive))] * 2)))
    rest = archive[:first] + archive[last:]
    at = data.draw(st.integers(0, len(rest)))
    put_back = archive[first:last] if data.draw(st.booleans()) else b""
    refused_told_or_whole(rest[:at] + put_back + rest[at:], archive)


names = st.text(st.sampled_from("./\\ab: ~é"), min_size=1, max_size=12)


@settings(max_examples=60, deadline=None)
@given(name=names, content=st.binary(max_size=50))
def test_any_name_of_a_further_file(archive: bytes, name: str, content: bytes) -> None:
    out = io.BytesIO(archive)
    with zipfile.ZipFile(out, "a") as made:
        made.writestr(name, content)
    refused_told_or_whole(out.getvalue(), archive)


@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=300))
def test_any_bytes_at_all(archive: bytes, data: bytes) -> None:
    refused_told_or_whole(data, archive)
