"""Photos in memory and in a bucket of a real S3-compatible server on this computer.

The server is moto's (Apache 2.0), which speaks the S3 protocol over HTTP.
"""

from collections.abc import Iterator
from pathlib import Path

import fsspec
import pytest
from moto.server import ThreadedMotoServer

from damagescore.errors import RecordError
from damagescore.inspection.record import PhotoEntry
from damagescore.records import Store
from damagescore.records.backup import restore_backup, write_backup
from damagescore.records.remote_vault import RemoteVault
from damagescore.records.vault import PhotoVault, vault_at
from tests.record_samples import an_inspection, signed
from tests.unit.test_records_vault import ABC_SHA256


@pytest.fixture(scope="module")
def s3() -> Iterator[str]:
    """Address of a server, which the environment tells the S3 package."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0)
    server.start()
    host, port = server.get_host_and_port()
    told = {
        "AWS_ENDPOINT_URL": f"http://{host}:{port}", "AWS_ACCESS_KEY_ID": "trial",
        "AWS_SECRET_ACCESS_KEY": "trial", "AWS_DEFAULT_REGION": "us-east-1",
    }  # fmt: skip
    with pytest.MonkeyPatch.context() as patch:
        for name, value in told.items():
            patch.setenv(name, value)
        fsspec.filesystem("s3").mkdir("photos-of-tests")
        yield "s3://photos-of-tests/vault"
    server.stop()


@pytest.fixture(params=["memory", "s3"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "memory":
        return f"memory://{tmp_path.name}"
    return f"{request.getfixturevalue('s3')}/{tmp_path.name}"


def test_a_photo_is_kept_once_and_comes_back(place: str) -> None:
    vault = RemoteVault(place)
    assert vault.keys() == []
    assert vault.put(b"abc") == vault.put(b"abc") == ABC_SHA256
    other = vault.put(b"another")
    assert vault.keys() == sorted([ABC_SHA256, other])
    assert vault.read(ABC_SHA256) == b"abc"
    vault.drop(other)
    vault.drop(other)
    assert vault.keys() == [ABC_SHA256]


def test_a_lost_or_altered_photo_is_told_and_mended(place: str) -> None:
    vault = RemoteVault(place)
    key = vault.put(b"abc")
    files, path = fsspec.core.url_to_fs(vault.url + f"/{key[:2]}/{key[2:]}")
    files.pipe_file(path, b"abd")
    with pytest.raises(RecordError, match="altered"):
        vault.read(key)
    vault.put(b"abc")
    assert vault.read(key) == b"abc"
    files.rm_file(path)
    with pytest.raises(RecordError, match=f"is missing from {place.partition(':')[0]}"):
        vault.read(key)
    with pytest.raises(RecordError, match="0 bytes"):
        vault.put(b"")
    with pytest.raises(RecordError, match="not the key"):
        vault.read("../" * 21 + "x")


def test_a_store_keeps_its_photos_there_and_moves_them_by_backup(
    place: str, tmp_path: Path
) -> None:
    with Store(tmp_path / "data", photos=place) as store:
        photo = PhotoEntry(sha256=store.put_photo(b"abc"), name="a.jpg", view="face")
        store.save(signed(an_inspection(photos=(photo,))))
        assert store.verify() == []
        write_backup(store, tmp_path / "b.zip", by="R. Alder")
    assert not (tmp_path / "data" / "photos").exists()
    back = restore_backup(
        tmp_path / "b.zip", tmp_path / "new", by="R. Alder", photos=f"{place}-new"
    )
    with back:
        assert back.verify() == []
        assert back.photo_keys() == [ABC_SHA256]
    assert RemoteVault(f"{place}-new").keys() == [ABC_SHA256]


def test_a_bucket_that_is_not_there_is_told_in_one_sentence(s3: str) -> None:
    vault = RemoteVault("s3://no-such-bucket-here/photos")
    with pytest.raises(RecordError, match="s3://no-such-bucket-here/photos"):
        vault.put(b"abc")
    assert vault.keys() == []


def test_a_place_that_nothing_knows_is_refused() -> None:
    with pytest.raises(RecordError, match="cannot be used"):
        vault_at("nowhere://photos")


def test_a_file_address_is_a_folder(tmp_path: Path) -> None:
    vault = vault_at(f"file://{tmp_path}/photos")
    assert isinstance(vault, PhotoVault)
    assert vault.put(b"abc") == ABC_SHA256
    assert (tmp_path / "photos").is_dir()
    assert [p.name for p in tmp_path.iterdir()] == ["photos"]
