"""Give a library to others, and take one in: one zip file with photos, COCO, masks and CSV."""

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from damagescore.errors import TrainingError
from damagescore.photo.outline import fill_outline
from damagescore.quantity import Measured
from damagescore.report.tables import harmless
from damagescore.training.coco import KINDS, file_name_of, from_coco, polygons_of, to_coco
from damagescore.training.library import Entry

ANNOTATIONS, FINDINGS, PHOTOS, MASKS = "annotations.json", "findings.csv", "photos/", "masks/"

LARGEST_BYTES = 4_000_000_000
"""All files of an import together; a thousand photos of 4 MB."""

LARGEST_TEXT = 100_000_000
MOST_FILES = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """Entries that were read, each with the bytes of its photo."""

    entries: tuple[Entry, ...]
    photos: Mapping[str, bytes]


def write_library(
    target: Path, entries: Sequence[Entry], *, photo_bytes: Callable[[str], bytes], made_at: str
) -> None:
    """Write entries with their photos into a zip file.

    Parameters
    ----------
    target : Path
    entries : sequence of Entry
    photo_bytes : callable
        Gives the bytes of a photo by its SHA-256.
    made_at : str
        ISO 8601, UTC.

    Raises
    ------
    TrainingError
        When the permission of a photo does not cover giving it to others.
    """
    kept_in = [e.photo_name for e in entries if not e.may_leave]
    if kept_in:
        raise TrainingError(
            f"{len(kept_in)} of {len(entries)} photos may not be given to others, "
            f"{kept_in[0][:80]!r} first.",
            remedy="Leave them out, or have their permission changed.",
        )
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        coco = to_coco(entries, made_at=made_at)
        archive.writestr(ANNOTATIONS, json.dumps(coco, ensure_ascii=False, allow_nan=False))
        archive.writestr(FINDINGS, findings_csv(entries))
        for entry in entries:
            # Photos are compressed as they are.
            photo = photo_bytes(entry.photo_sha256)
            archive.writestr(PHOTOS + file_name_of(entry), photo, zipfile.ZIP_STORED)
            archive.writestr(f"{MASKS}{entry.photo_sha256}.png", mask_png(entry))


def mask_png(entry: Entry) -> bytes:
    """Mask of an entry: 0 nothing, 1 crack, 2 bond gap, 3 crumbling, 4 bulge."""
    mask = np.zeros((entry.height, entry.width), np.uint8)
    for finding in entry.findings:
        for polygon in polygons_of(finding, entry):
            fill_outline(mask, polygon, KINDS.index(finding.kind) + 1)
    done, data = cv2.imencode(".png", mask)
    assert done
    return data.tobytes()


COLUMNS = (
    "photo", "sha256", "version", "grade", "call", "finding", "kind", "layer", "quantity",
    "value", "unit",
)  # fmt: skip


def findings_csv(entries: Sequence[Entry]) -> str:
    """One row for each quantity of each agreed finding; a photo without any has one row."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for entry in entries:
        first = (harmless(entry.photo_name), entry.photo_sha256, entry.version, entry.grade,
                 entry.call or "")  # fmt: skip
        if not entry.findings:
            writer.writerow([*first, "", "", "", "", "", ""])
        for finding in entry.findings:
            for name, quantity in finding.quantities.items():
                value = quantity.value if isinstance(quantity, Measured) else ""
                writer.writerow(
                    [*first, harmless(finding.id), finding.kind, finding.layer, name, value,
                     quantity.unit]
                )  # fmt: skip
    return out.getvalue()


def read_library(source: Path, *, described: Mapping[str, Any]) -> Imported:
    """Read what `write_library` wrote, or a zip of photos with a COCO file of others.

    Parameters
    ----------
    source : Path
    described : mapping
        See `from_coco`.

    Raises
    ------
    TrainingError
        When the file is no such zip, is too large unpacked, lacks a photo, or holds a
        photo that is not the one described.
    """
    try:
        with zipfile.ZipFile(source) as archive:
            _check_size(archive)
            return _read(archive, described)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, NotImplementedError) as fault:
        raise TrainingError(
            f"The file {source.name!r} is no readable zip file: {fault}.",
            remedy="Export the library again, or choose another file.",
        ) from fault


def _check_size(archive: zipfile.ZipFile) -> None:
    infos = archive.infolist()
    if any(info.flag_bits & 1 for info in infos):
        raise TrainingError(
            "The zip file is encrypted.",
            remedy="Unpack it and pack it again without a password.",
        )
    size = sum(info.file_size for info in infos)
    if size > LARGEST_BYTES or len(infos) > MOST_FILES:
        raise TrainingError(
            f"The file unpacks to {size / 1e9:.1f} GB in {len(infos)} files.",
            remedy=f"At most {LARGEST_BYTES / 1e9:.0f} GB in {MOST_FILES} files are read: "
            "split the library.",
        )


def _read(archive: zipfile.ZipFile, described: Mapping[str, Any]) -> Imported:
    plain = _annotations(archive)
    photos: dict[str, bytes] = {}
    for image in plain.get("images", ()) if isinstance(plain, dict) else ():
        data = _photo(archive, str(image.get("file_name", "")))
        sha256 = hashlib.sha256(data).hexdigest()
        own = image.setdefault("attributes", {})
        if own.setdefault("photo_sha256", sha256) != sha256:
            raise TrainingError(
                f"The photo {image['file_name'][:80]!r} is not the one that was graded: its "
                "hash differs.",
                remedy="Export the library again.",
            )
        photos[sha256] = data
    return Imported(entries=from_coco(plain, described), photos=photos)


def _annotations(archive: zipfile.ZipFile) -> Any:
    data = _member(archive, ANNOTATIONS, largest=LARGEST_TEXT)
    try:
        return json.loads(data)
    except (ValueError, RecursionError) as fault:
        raise TrainingError(
            f"{ANNOTATIONS} is no JSON: {fault}.", remedy="Export the library again."
        ) from fault


def _photo(archive: zipfile.ZipFile, name: str) -> bytes:
    # Only the last part of a name is used, inside the zip: nothing is written by name.
    return _member(archive, PHOTOS + name.rpartition("/")[2], largest=LARGEST_BYTES)


def _member(archive: zipfile.ZipFile, name: str, *, largest: int) -> bytes:
    try:
        with archive.open(name) as file:
            # What a zip says of a size may be false: no more than that is read.
            data = file.read(min(largest, archive.getinfo(name).file_size) + 1)
    except KeyError as fault:
        raise TrainingError(
            f"The zip file has no {name[:120]!r}.",
            remedy=f"It needs {ANNOTATIONS} and a folder {PHOTOS} with the photos it names.",
        ) from fault
    if len(data) > largest:
        raise TrainingError(
            f"{name[:120]!r} is larger than {largest / 1e6:.0f} MB.",
            remedy="Split the library.",
        )
    return data
