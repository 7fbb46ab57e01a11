"""Photos go into the vault once, come out as they were, or not at all."""

import errno
import os
from pathlib import Path

import pytest

from damagescore.errors import RecordError
from damagescore.records.vault import PhotoVault

# FIPS 180-4 example: SHA-256 of "abc" (NIST, SHA-2 example values).
ABC_SHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def vault(tmp_path: Path) -> PhotoVault:
    return PhotoVault(folder=tmp_path / "photos")


def test_the_key_is_the_sha256_and_names_the_file(vault: PhotoVault) -> None:
    assert vault.put(b"abc") == ABC_SHA256
    assert (vault.folder / ABC_SHA256[:2] / ABC_SHA256[2:]).read_bytes() == b"abc"
    assert vault.read(ABC_SHA256) == b"abc"


def test_the_same_photo_is_kept_once_and_leaves_no_parts(vault: PhotoVault) -> None:
    vault.put(b"abc")
    vault.put(b"abc")
    assert [p.name for p in vault.folder.rglob("*") if p.is_file()] == [ABC_SHA256[2:]]


def test_an_altered_photo_is_refused_and_named(vault: PhotoVault) -> None:
    key = vault.put(b"abc")
    vault.path_of(key).write_bytes(b"abd")
    with pytest.raises(RecordError, match="altered"):
        vault.read(key)


def test_putting_the_photo_again_mends_a_damaged_copy(vault: PhotoVault) -> None:
    key = vault.put(b"abc")
    vault.path_of(key).write_bytes(b"")
    vault.put(b"abc")
    assert vault.read(key) == b"abc"


def test_a_missing_photo_is_named(vault: PhotoVault) -> None:
    with pytest.raises(RecordError, match="missing"):
        vault.read(ABC_SHA256)


def test_an_empty_photo_is_refused(vault: PhotoVault) -> None:
    with pytest.raises(RecordError, match="0 bytes"):
        vault.put(b"")


@pytest.mark.parametrize(
    "key", ["", "..", "../" * 21 + "x", "A" * 64, "/" * 64, "a" * 63 + "\n"]
)
def test_a_key_that_is_no_hash_leads_nowhere(vault: PhotoVault, key: str) -> None:
    with pytest.raises(RecordError, match="not the key"):
        vault.read(key)


def test_a_full_disk_says_so_and_leaves_nothing_behind(
    vault: PhotoVault, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordError, match="full"):
        vault.put(b"abc")
    assert not [p for p in vault.folder.rglob("*") if p.is_file()]


def test_a_folder_that_cannot_be_made_says_so(tmp_path: Path) -> None:
    (tmp_path / "photos").write_text("a file where the folder should be")
    with pytest.raises(RecordError, match="cannot be used"):
        PhotoVault(folder=tmp_path / "photos").put(b"abc")
