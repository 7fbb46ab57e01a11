"""A store comes back whole from its backup, from each database into each."""

import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from damagescore.errors import RecordError
from damagescore.inspection import sign_inspection
from damagescore.inspection.record import PhotoEntry
from damagescore.records import Store
from damagescore.records.backup import restore_backup, write_backup
from damagescore.records.keys import make_key, unlock_key
from tests.inspection_samples import limits
from tests.record_samples import AT, an_inspection, signed

PASSPHRASE = "snow on the alders"


@pytest.fixture
def filled(store: Store) -> Store:
    """Records of which z is superseded by a, a draft, a key, limits, an odd score."""
    made = make_key(store, name="R. Alder", authorisation="HV-7", passphrase=PASSPHRASE)
    key = unlock_key(store, made.public_key, PASSPHRASE)
    photo = PhotoEntry(sha256=store.put_photo(b"photo"), name="ä.jpg", view="face")
    sign = {
        "name": "R. Alder", "authorisation": "HV-7", "statement": "Seen.",
        "disposition": "remove", "at": AT, "key": key,
    }  # fmt: skip
    unbounded = {"outcome": "exceeded", "score": None, "score_unbounded": True}
    store.save(
        sign_inspection(an_inspection("z", photos=(photo,), assessment=unbounded), **sign)
    )
    again = an_inspection(
        "a", photos=(photo,), assessment=unbounded, supersedes="z", supersede_reason="serial"
    )
    store.save(sign_inspection(again, **sign))
    store.save(an_inspection("m", supersedes="a", supersede_reason="again"))
    store.save_limit_set(limits())
    return store


def same(one: Store, other: Store) -> None:
    assert other.search() == one.search()
    for summary in one.search():
        assert other.load(summary.id) == one.load(summary.id)
    assert other.photo_keys() == one.photo_keys()
    assert other.chain_head() == one.chain_head()
    assert other.limit_sets() == one.limit_sets()
    assert other.verify() == []
    public_key = one.load("z").signature.public_key  # type: ignore[union-attr]
    assert unlock_key(other, public_key, PASSPHRASE).public_key == public_key
    assert [e.action for e in other.audit_log()][:2] == ["restore", "backup"]


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request: pytest.FixtureRequest) -> str | None:
    postgres = request.param == "postgresql"
    return request.getfixturevalue("new_schema")() if postgres else None


def test_a_store_comes_back_from_its_backup(
    filled: Store, target: str | None, tmp_path: Path
) -> None:
    found = write_backup(filled, tmp_path / "b.zip", by="R. Alder")
    assert (found.n_photos, found.problems) == (1, ())
    with restore_backup(
        tmp_path / "b.zip", tmp_path / "new", by="B. Rowan", url=target
    ) as back:
        same(filled, back)
    assert {p.name for p in tmp_path.iterdir()} >= {"b.zip", "new", "data"}
    assert not list(tmp_path.glob(".*"))


@pytest.mark.parametrize("member", [0, 1, -2, -1])
def test_a_damaged_backup_is_refused_and_writes_nothing(
    filled: Store, tmp_path: Path, member: int
) -> None:
    path = tmp_path / "b.zip"
    write_backup(filled, path, by="R. Alder")
    with zipfile.ZipFile(path) as given:
        info = given.infolist()[member]
    data = bytearray(path.read_bytes())
    place = info.header_offset + 30 + len(info.filename)  # a local header has 30 bytes
    place += info.compress_size // 2
    data[place] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(RecordError, match=r"damaged|not a usable file"):
        restore_backup(path, tmp_path / "new", by="R. Alder")
    path.write_bytes(data[:place])
    with pytest.raises(RecordError, match="not a usable file"):
        restore_backup(path, tmp_path / "new", by="R. Alder")
    assert {p.name for p in tmp_path.iterdir()} == {"b.zip", "data"}


def test_a_backup_goes_into_nothing_that_is_there(
    filled: Store, tmp_path: Path, new_schema: Callable[[], str]
) -> None:
    path = tmp_path / "b.zip"
    write_backup(filled, path, by="R. Alder")
    with pytest.raises(RecordError, match="is not empty"):
        restore_backup(path, filled.folder, by="R. Alder")
    with Store(tmp_path / "other", url=new_schema()) as other:
        other.save(an_inspection("mine"))
        with pytest.raises(RecordError, match="has records already"):
            restore_backup(path, tmp_path / "new", by="R. Alder", url=other.url)
        assert [s.id for s in other.search()] == ["mine"]
    assert not (tmp_path / "new").exists()


def test_a_photo_that_is_damaged_is_told_and_the_rest_is_kept(
    filled: Store, tmp_path: Path
) -> None:
    (sha256,) = filled.photo_keys()
    (filled.folder / "photos" / sha256[:2] / sha256[2:]).write_bytes(b"other")
    found = write_backup(filled, tmp_path / "b.zip", by="R. Alder")
    assert found.n_photos == 0
    assert "was altered" in found.problems[0]
    with restore_backup(tmp_path / "b.zip", tmp_path / "new", by="R. Alder") as back:
        assert len(back.verify()) == 2


def test_a_backup_of_older_tables_is_brought_forward(
    tmp_path: Path, new_schema: Callable[[], str]
) -> None:
    with Store(tmp_path / "data", url=new_schema()) as store:
        store.save(signed(an_inspection()))
        write_backup(store, tmp_path / "b.zip", by="R. Alder")
    with zipfile.ZipFile(tmp_path / "b.zip") as now, zipfile.ZipFile(
        tmp_path / "old.zip", "w"
    ) as old:  # fmt: skip
        listed = json.loads(now.read("backup.json"))
        listed["revision"] = 5  # before work orders, documents and accounts
        for table in ("work_order", "document", "account", "sign_in_rule"):
            del listed["files"][f"tables/{table}.jsonl"]
        for name in listed["files"]:
            old.writestr(name, now.read(name))
        old.writestr("backup.json", json.dumps(listed))
    with restore_backup(tmp_path / "old.zip", tmp_path / "new", by="R. Alder") as back:
        assert back.load("rec-1") == signed(an_inspection())
        assert back.verify() == []
        back.save(an_inspection("rec-2"))
    listed["revision"] = 99
    with zipfile.ZipFile(tmp_path / "newer.zip", "w") as newer:
        newer.writestr("backup.json", json.dumps(listed))
    with pytest.raises(RecordError, match="table version 99; this program knows up to"):
        restore_backup(tmp_path / "newer.zip", tmp_path / "other", by="R. Alder")


def test_an_archive_is_no_backup(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as made:
        made.writestr("backup.json", "{}")
    with pytest.raises(RecordError, match="is not a backup"):
        restore_backup(tmp_path / "b.zip", tmp_path / "new", by="R. Alder")
