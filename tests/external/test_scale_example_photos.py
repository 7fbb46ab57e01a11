"""Scale of photos rendered elsewhere, with exact truth beside them.

Source: six path-traced photos with camera and homography, made apart from this project;
the tests run where they are present. Tolerances: 0.2 % of any length over the whole face is
asked of the scale; the claim itself must hold at three standard uncertainties.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from damagescore.photo import read_photo
from damagescore.scale import ScaleRequest, find_scale
from damagescore.scale.record import SurfaceMap

FOLDER = Path(__file__).parents[3] / "shared" / "example_photos"

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the example photos are not here")


def read(name):
    truth = json.loads((FOLDER / f"{name}.json").read_text())
    rule = "steel_rule" in truth["marker_kinds"]
    request = ScaleRequest(kind="rule" if rule else "squares", size_mm=1.0 if rule else 10.0)
    scale = find_scale(read_photo(FOLDER / f"{name}.jpg"), request, view=truth["view"])
    return scale, truth


def errors_over_the_face(scale, truth):
    exact = SurfaceMap(px_to_mm=np.array(truth["homography_image_to_plane_mm"]))
    errors = []
    for x in (250, 1100, 1950):
        for y in (420, 700, 980):
            for dx, dy in ((60, 0), (0, 60), (42, 42), (42, -42)):
                line = np.array([[x, y], [x + dx, y + dy]], float)
                errors.append(scale.surface.length_mm(line) / exact.length_mm(line) - 1)
    return np.array(errors)


@pytest.mark.parametrize("name", ["f04", "f08", "f12", "f16", "p02"])
def test_lengths_over_the_whole_face(name):
    scale, truth = read(name)
    errors = errors_over_the_face(scale, truth)
    assert np.abs(errors).max() < 0.002
    assert np.abs(errors).max() < 3 * scale.u_relative
    assert scale.tilt_deg == pytest.approx(truth["camera"]["tilt_deg"], abs=1.5)


def test_turned_card_shows_its_tilt():
    # the card stands 38 degrees out of the rubber's plane and 15 mm before it: its squares
    # agree with each other, so only the tilt can tell
    scale, truth = read("b04")
    assert scale.tilt_deg > 30
    assert np.abs(errors_over_the_face(scale, truth)).max() > 0.05
