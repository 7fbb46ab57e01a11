"""Edges and bulges on the example photos whose truth is known to their maker.

Source: the folder of example photos kept beside the project (path-traced, exact
geometry in each JSON). The tests are skipped where the folder is absent.
"""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from damagescore.damage.bulge import bulge_profile, find_bulges
from damagescore.edge import find_edge
from damagescore.photo import read_photo
from damagescore.scale import ScaleRequest, find_scale

FOLDER = Path(__file__).parents[3] / "shared" / "example_photos"
REQUESTS = {
    "f04": ScaleRequest(kind="squares", size_mm=10.0),
    "f08": ScaleRequest(kind="rule", size_mm=1.0),
    "f12": ScaleRequest(kind="squares", size_mm=10.0),
    "f16": ScaleRequest(kind="squares", size_mm=10.0),
    "p02": ScaleRequest(kind="squares", size_mm=10.0),
}

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="no example photos here")


def _measured(name, view):
    photo = read_photo(FOLDER / f"{name}.jpg")
    scale = find_scale(photo, REQUESTS[name], view=view)
    truth = json.loads((FOLDER / f"{name}.json").read_text())
    return photo, scale, find_edge(photo, scale, view=view), truth


@pytest.mark.parametrize("name", ["f04", "f08", "f12", "f16"])
def test_layers_lie_where_they_are(name):
    _, _, edge, truth = _measured(name, "face")
    assert [x.kind for x in edge.layers] == [x["kind"] for x in truth["layers"]]
    off = []
    for layer, true in zip(edge.layers, truth["layers"], strict=True):
        half = len(true["polygon_px"]) // 2
        sides = [np.array(true["polygon_px"][:half]), np.array(true["polygon_px"][half:])]
        sides.sort(key=lambda side: side[:, 1].mean())
        for found, drawn in zip((layer.upper_px, layer.lower_px), sides, strict=True):
            side = drawn[np.argsort(drawn[:, 0])]
            off.append(np.abs(found[:, 1] - np.interp(found[:, 0], side[:, 0], side[:, 1])))
    spread = np.concatenate(off)
    assert np.median(spread) < 1.0  # 0.04 mm: a tenth of a shim's thickness
    assert np.percentile(spread, 95) < 3.0  # nicks, smears and cracks at a bond


def test_a_photo_without_colour_shows_the_same_layers_with_a_doubt():
    photo = read_photo(FOLDER / "f08.jpg")
    grey = np.rint(photo.grey).astype(np.uint8)
    plain = replace(photo, rgb=np.repeat(grey[..., None], 3, axis=2))
    scale = find_scale(photo, REQUESTS["f08"])
    coloured, edge = find_edge(photo, scale), find_edge(plain, scale)
    assert len(edge.layers) == len(coloured.layers) == 13
    assert "a part of their length" in edge.doubt
    for layer, other in zip(edge.layers, coloured.layers, strict=True):
        at = other.upper_px[:, 0]
        off = np.interp(at, *layer.upper_px.T) - other.upper_px[:, 1]
        # 0.15 mm: light makes shims and rubber alike on half of the length.
        assert np.median(np.abs(off)) < 4.0


def test_bulges_are_measured_to_a_twentieth_of_a_millimetre():
    photo, scale, edge, truth = _measured("p02", "profile")
    layers = bulge_profile(photo, edge, scale).layers
    peaks = [x.peak.value for x in layers]
    assert peaks == pytest.approx([b["peak_mm"] for b in truth["bulges"]], abs=0.05)
    called = {f.layer for f in find_bulges(photo, edge, scale)}
    assert called == {b["layer"] for b in truth["bulges"] if b["is_bulge"]}
