"""Our COCO export, read by the reference library of the format.

Source: pycocotools 2.0 (the data set's own tools, from PyPI): it must find every annotation by
image and category, and the mask that it draws from a polygon must have the area we wrote.
Tolerance: a drawn mask counts pixels along the border, so half a pixel of the outline's length.
"""

import json

import numpy as np
import pytest
from pycocotools.coco import COCO

from damagescore.training.coco import to_coco
from tests.training_samples import crack, entry, patch


@pytest.fixture
def read(tmp_path):
    entries = [entry("a", crack(), patch()), entry("b", crack("long", length_px=400))]
    target = tmp_path / "annotations.json"
    target.write_text(json.dumps(to_coco(entries, made_at="2026-11-25T12:00:00Z")))
    return COCO(str(target))


def test_every_annotation_is_found_by_photo_and_kind(read) -> None:
    names = {c["id"]: c["name"] for c in read.loadCats(read.getCatIds())}
    assert list(names.values()) == ["crack", "bond_gap", "crumbling", "bulge"]
    cracks = read.getAnnIds(catIds=read.getCatIds(catNms=["crack"]))
    assert len(cracks) == 2
    assert [len(read.getAnnIds(imgIds=[k])) for k in (1, 2)] == [2, 1]


# The reference library itself uses an array call that NumPy 2 warns of.
@pytest.mark.filterwarnings("ignore:__array__ implementation:DeprecationWarning")
def test_masks_have_the_area_that_was_written(read) -> None:
    for annotation in read.loadAnns(read.getAnnIds()):
        mask = read.annToMask(annotation)
        assert mask.shape == (600, 800)
        outline = np.array(annotation["segmentation"][0]).reshape(-1, 2)
        around = np.hypot(*np.diff(np.vstack([outline, outline[:1]]), axis=0).T).sum()
        assert (
            abs(int(mask.sum()) - annotation["area"]) <= around / 2 + 2
        )  # half a pixel of border
        x, y, width, height = annotation["bbox"]
        rows, columns = np.nonzero(mask)
        assert columns.min() >= x - 1  # a pixel of rounding
        assert columns.max() <= x + width + 1  # a pixel of rounding
        assert rows.min() >= y - 1  # a pixel of rounding
        assert rows.max() <= y + height + 1  # a pixel of rounding
