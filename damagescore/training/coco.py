"""The library as COCO annotations: an open format that other programs read.

The fields follow the format description of the COCO data set (cocodataset.org, "Data format",
object detection). A crack is an area there too: the stroke of its line at its width. What
COCO has no field for stands under "attributes", so that a library comes back as it was.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.record import Finding, FindingKind
from damagescore.errors import TrainingError
from damagescore.photo.outline import signed_area
from damagescore.quantity import Measured
from damagescore.training.library import Entry

KINDS: tuple[FindingKind, ...] = ("crack", "bond_gap", "crumbling", "bulge")

THINNEST_PX = 2.0
"""A line without a measured width is drawn this wide."""


def to_coco(entries: Sequence[Entry], *, made_at: str) -> dict[str, Any]:
    """Describe entries and their findings as one COCO object.

    Parameters
    ----------
    entries : sequence of Entry
    made_at : str
        ISO 8601, UTC.

    Returns
    -------
    dict
        "info", "licenses", "categories", "images" and "annotations"; ids count from 1.
    """
    images: list[dict[str, Any]] = []
    annotations: list[dict[str, Any]] = []
    for number, entry in enumerate(entries, start=1):
        images.append(_image(number, entry))
        for finding in entry.findings:
            annotations.append(_annotation(len(annotations) + 1, number, finding, entry))
    return {
        "info": {"description": "graded photos of bearing edges", "date_created": made_at},
        "licenses": [],
        "categories": [
            {"id": k, "name": kind, "supercategory": "damage"}
            for k, kind in enumerate(KINDS, start=1)
        ],
        "images": images,
        "annotations": annotations,
    }


def file_name_of(entry: Entry) -> str:
    """Name of an entry's photo inside an export: its hash, so that no two are the same."""
    ending = entry.photo_name.rpartition(".")[2].lower()
    return f"{entry.photo_sha256}.{ending if ending.isalnum() and len(ending) <= 5 else 'bin'}"


def _image(number: int, entry: Entry) -> dict[str, Any]:
    plain = entry.to_dict()
    del plain["findings"]
    return {
        "id": number, "file_name": file_name_of(entry), "width": entry.width,
        "height": entry.height, "attributes": plain,
    }  # fmt: skip


def _annotation(number: int, image: int, finding: Finding, entry: Entry) -> dict[str, Any]:
    polygons = polygons_of(finding, entry)
    points = np.vstack(polygons)
    low, high = points.min(axis=0), points.max(axis=0)
    return {
        "id": number,
        "image_id": image,
        "category_id": KINDS.index(finding.kind) + 1,
        "segmentation": [np.round(p, 2).ravel().tolist() for p in polygons],
        "area": round(sum(abs(signed_area(p)) for p in polygons), 2),
        "bbox": [round(float(v), 2) for v in (*low, *(high - low))],
        "iscrowd": 0,
        "attributes": finding.to_dict(),
    }


def polygons_of(finding: Finding, entry: Entry) -> list[NDArray[np.float64]]:
    """Outlines of a finding, each shape (N, 2) px; a line becomes its stroke."""
    if finding.polygon_px is not None:
        return [finding.polygon_px]
    width = finding.quantities.get("width_max")
    width_px = width.value / entry.mm_per_px if isinstance(width, Measured) else THINNEST_PX
    return _strokes(finding.lines_px, max(width_px, THINNEST_PX))


def _strokes(
    lines: Sequence[NDArray[np.float64]], width_px: float
) -> list[NDArray[np.float64]]:
    """Outlines of lines drawn at a width; holes that branches close are filled."""
    every = np.vstack(lines)
    corner = np.floor(every.min(axis=0)) - width_px - 2
    size = np.ceil(every.max(axis=0) - corner + width_px + 2).astype(int)
    mask = np.zeros((size[1], size[0]), np.uint8)
    for line in lines:
        fixed = np.round(line - corner).astype(np.int32).reshape(-1, 1, 2)
        cv2.polylines(mask, [fixed], isClosed=False, color=1, thickness=round(width_px))
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    return [o.reshape(-1, 2) + corner for o in outlines if len(o) >= 3] or [_box(every)]


def _box(points: NDArray[np.float64]) -> NDArray[np.float64]:
    (x0, y0), (x1, y1) = points.min(axis=0) - 1, points.max(axis=0) + 1
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def from_coco(plain: Mapping[str, Any], described: Mapping[str, Any]) -> tuple[Entry, ...]:
    """Read entries from a COCO object, our own or another program's.

    Parameters
    ----------
    plain : mapping
        The parsed file.
    described : mapping
        Fields of `Entry` for images that do not say them, such as "mm_per_px",
        "grade", "provenance", "permission", "agreed_by" and "agreed_at".

    Returns
    -------
    tuple of Entry
        In a foreign file polygons become areas, and a category must be named as one of
        our kinds of damage.

    Raises
    ------
    TrainingError
        When a part is missing or of the wrong kind.
    """
    try:
        names = {c["id"]: str(c["name"]) for c in plain["categories"]}
        found: dict[Any, list[Finding]] = {image["id"]: [] for image in plain["images"]}
        for annotation in plain["annotations"]:
            number = len(found[annotation["image_id"]]) + 1
            found[annotation["image_id"]].append(_finding(annotation, names, number))
        return tuple(_entry(i, tuple(found[i["id"]]), described) for i in plain["images"])
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as fault:
        raise TrainingError(
            f"The file is no COCO object detection file: {type(fault).__name__} {fault}.",
            remedy="It needs categories, images and annotations with their ids.",
        ) from fault


def _finding(annotation: Mapping[str, Any], names: Mapping[Any, str], number: int) -> Finding:
    own = annotation.get("attributes", {})
    if "quantities" in own:
        return Finding.from_dict(own)
    name = names[annotation["category_id"]]
    if name not in KINDS:
        raise TrainingError(
            f"The category {name[:40]!r} is no kind of damage.",
            remedy=f"Name the categories {', '.join(KINDS)}.",
        )
    segments = annotation["segmentation"]
    if not isinstance(segments, list) or not segments:
        raise TrainingError(
            f"Annotation {annotation['id']} has no polygon.",
            remedy="Export the areas as polygons, not as run lengths.",
        )
    largest = max((np.array(s, np.float64).reshape(-1, 2) for s in segments), key=_area)
    return Finding(
        id=f"{name}-{number}", kind=name, layer=None, strength=1.0, polygon_px=largest,
        origin="drawn",
    )  # fmt: skip


def _area(polygon: NDArray[np.float64]) -> float:
    return abs(signed_area(polygon))


def _entry(
    image: Mapping[str, Any], findings: tuple[Finding, ...], described: Mapping[str, Any]
) -> Entry:
    own = image.get("attributes", {})
    fields: dict[str, Any] = {
        "version": 1, "measurement": {}, "usage": None, "call": None, **described,
        **own, "width": image["width"], "height": image["height"],
    }  # fmt: skip
    fields.setdefault("id", f"import-{image['id']}")
    fields.setdefault("photo_name", str(image["file_name"]))
    fields["findings"] = [f.to_dict() for f in findings]
    return Entry.from_dict(fields)
