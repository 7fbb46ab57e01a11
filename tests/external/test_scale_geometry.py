"""Stand-off and tilt against closed forms of the pinhole camera.

Source: similar triangles and cosine foreshortening, as any text on photogrammetry has them
(values from memory, checked by hand): a mark nearer by dz than the rubber at Z makes
lengths read short by ds/s = dz / (Z - dz); a length along a tilt is foreshortened by
1 - cos(tilt).
"""

import math

import numpy as np
import pytest

from damagescore.scale import ScaleRequest, find_scale
from damagescore.scale.pose import Pose
from damagescore.scale.record import SurfaceMap
from tests.scale_renders import photo_of_grey

# (dz mm, Z of the rubber mm, relative change)
STANDOFF = [(3.0, 300.0, 0.010101), (1.0, 200.0, 0.005025), (2.0, 150.0, 0.013514)]

# (tilt in degrees, 1 - cos)
TILT = [(5, 0.0038053), (10, 0.0151922), (15, 0.0340742), (20, 0.0603074), (30, 0.1339746)]


@pytest.mark.parametrize(("dz_mm", "rubber_mm", "change"), STANDOFF)
def test_standoff_lengthens_by_the_closed_form(dz_mm, rubber_mm, change):
    # a camera of 3000 px focal length sees the mark, dz nearer than the rubber
    mark_mm = rubber_mm - dz_mm
    length_mm = 400 * mark_mm / 3000
    photo = photo_of_grey(np.zeros((300, 500), np.uint8), focal_px=3000.0)
    points = ((40.0, 150.0), (440.0, 150.0))
    plain = {"kind": "two_points", "size_mm": length_mm, "points_px": points}
    without = find_scale(photo, ScaleRequest(**plain))
    corrected = find_scale(photo, ScaleRequest(**plain, standoff_mm=dz_mm))
    grown = corrected.mm_per_px / without.mm_per_px - 1
    assert grown == pytest.approx(change, abs=1e-6)  # the figures have six places


def test_uncertain_standoff_is_in_the_budget():
    photo = photo_of_grey(np.zeros((300, 500), np.uint8), focal_px=3000.0)
    scale = find_scale(
        photo,
        ScaleRequest(
            kind="two_points",
            size_mm=40.0,
            points_px=((40.0, 150.0), (440.0, 150.0)),
            u_standoff_mm=3.0,
        ),
    )
    (line,) = [c for c in scale.budget if c.source == "stand-off of the mark"]
    assert line.u == pytest.approx(3.0 / 300.0, rel=1e-9)  # 0.1 mm per px × 3000 px away
    assert scale.u_relative >= line.u


@pytest.mark.parametrize(("tilt_deg", "short"), TILT)
def test_tilt_foreshortens_by_its_cosine(tilt_deg, short):
    pose = Pose(
        mm_per_px=0.05, tilt_x=math.tan(math.radians(tilt_deg)), tilt_y=0.0,
        focal_px=1e6, size_px=(801, 601),
    )  # fmt: skip
    surface = SurfaceMap(px_to_mm=pose.px_to_mm)
    along = surface.length_mm(np.array([[399.5, 300.0], [400.5, 300.0]]))
    across = surface.length_mm(np.array([[400.0, 299.5], [400.0, 300.5]]))
    assert 1 - across / along == pytest.approx(short, abs=1e-6)  # far camera: no perspective
    assert pose.tilt_deg == pytest.approx(tilt_deg)
