"""The library goes out as one zip file and comes back as it was; bad files are refused."""

import csv
import hashlib
import io
import json
import zipfile
from contextlib import suppress

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from damagescore.errors import TrainingError
from damagescore.training.coco import from_coco, to_coco
from damagescore.training.exchange import COLUMNS, read_library, write_library
from tests.training_samples import crack, entry, patch

PHOTO = b"bytes of a photo"
SHA256 = hashlib.sha256(PHOTO).hexdigest()
NOW = "2026-11-25T12:00:00Z"
DESCRIBED = {
    "mm_per_px": 0.05, "grade": 1, "scale_name": "own", "scale_version": 1,
    "agreed_by": ["R. Olin"], "agreed_at": NOW, "provenance": "from a partner",
    "permission": "by letter",
}  # fmt: skip


def _written(tmp_path, *entries):
    target = tmp_path / "library.zip"
    write_library(target, entries, photo_bytes=lambda _sha256: PHOTO, made_at=NOW)
    return target


def test_library_comes_back_as_it_was(tmp_path) -> None:
    one = entry("a", crack(), patch(), photo_sha256=SHA256)
    read = read_library(_written(tmp_path, one), described={})
    assert [e.to_dict() for e in read.entries] == [one.to_dict()]
    assert read.photos == {SHA256: PHOTO}


def test_masks_and_table(tmp_path) -> None:
    one = entry("a", crack(), patch(), photo_sha256=SHA256, photo_name='=HYPERLINK("x").jpg')
    with zipfile.ZipFile(_written(tmp_path, one)) as archive:
        data = np.frombuffer(archive.read(f"masks/{SHA256}.png"), np.uint8)
        rows = list(csv.reader(io.StringIO(archive.read("findings.csv").decode())))
    mask = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    assert mask.shape == (600, 800)
    assert set(np.unique(mask)) == {0, 1, 3}
    # A filled outline covers its own border: 101 x 101 pixel centres.
    assert np.sum(mask == 3) == 101**2
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == 1 + 4
    assert all(row[0].startswith("'=") for row in rows[1:])


def test_photo_that_may_not_leave_stays(tmp_path) -> None:
    with pytest.raises(TrainingError, match="1 of 2 photos may not be given"):
        _written(tmp_path, entry("a"), entry("b", may_leave=False))


def test_altered_photo_is_noticed(tmp_path) -> None:
    target = tmp_path / "library.zip"
    write_library(target, [entry("a")], photo_bytes=lambda _s: b"other", made_at=NOW)
    with pytest.raises(TrainingError, match="not the one that was graded"):
        read_library(target, described={})


def test_file_of_another_program() -> None:
    plain = {
        "categories": [{"id": 7, "name": "crumbling"}],
        "images": [{"id": 3, "file_name": "x.png", "width": 100, "height": 80,
                    "attributes": {"photo_sha256": SHA256}}],
        "annotations": [{"id": 1, "image_id": 3, "category_id": 7,
                         "segmentation": [[10, 10, 30, 10, 30, 40, 10, 40]]}],
    }  # fmt: skip
    (one,) = from_coco(plain, DESCRIBED)
    assert (one.photo_name, one.grade, one.provenance) == ("x.png", 1, "from a partner")
    assert one.findings[0].kind == "crumbling"
    assert one.findings[0].polygon_px.tolist() == [[10, 10], [30, 10], [30, 40], [10, 40]]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"images": None}, "no COCO"),
        ({"categories": [{"id": 1, "name": "cat"}]}, "'cat' is no kind of damage"),
    ],
)
def test_wrong_coco_is_told(change, words) -> None:
    plain = to_coco([entry("a", crack())], made_at=NOW)
    for annotation in plain["annotations"]:
        annotation.pop("attributes")
    with pytest.raises(TrainingError, match=words):
        from_coco({**plain, **change}, DESCRIBED)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.floats(allow_nan=False) | st.text("ab"),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(
        st.sampled_from(["id", "name", "images", "annotations", "categories", "attributes"]),
        inner, max_size=4,
    ),
    max_leaves=12,
)  # fmt: skip


@given(JSON)
def test_any_json_is_read_or_refused_in_words(plain) -> None:
    # Any other error would be a fault of the reader.
    with suppress(TrainingError):
        assert len(from_coco(plain, DESCRIBED)) == len(plain["images"])


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({}, "has no 'annotations.json'"),
        ({"annotations.json": "{"}, "is no JSON"),
        ({"annotations.json": json.dumps({"images": [{"id": 1, "file_name": "../../x"}]})},
         "has no 'photos/x'"),
    ],
)  # fmt: skip
def test_zip_without_its_parts_is_told(tmp_path, members, words) -> None:
    target = tmp_path / "bad.zip"
    with zipfile.ZipFile(target, "w") as archive:
        for name, text in members.items():
            archive.writestr(name, text)
    with pytest.raises(TrainingError, match=words):
        read_library(target, described={})


def test_what_is_no_zip_is_told(tmp_path) -> None:
    target = tmp_path / "bad.zip"
    target.write_bytes(b"PK\x03\x04 cut off")
    with pytest.raises(TrainingError, match="no readable zip"):
        read_library(target, described={})


def test_zip_bomb_is_not_unpacked(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("damagescore.training.exchange.LARGEST_TEXT", 1_000_000)
    target = tmp_path / "bomb.zip"
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("annotations.json", b" " * 5_000_000)
    with pytest.raises(TrainingError, match="larger than 1 MB"):
        read_library(target, described={})
