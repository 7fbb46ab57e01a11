"""Laws that every map from the photo to the surface must keep."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.scale.pose import Pose
from damagescore.scale.record import SurfaceMap

angles = st.floats(-25, 25)
turns = st.floats(-180, 180)


def pose_map(tilt_x_deg, tilt_y_deg, **more):
    pose = Pose(
        mm_per_px=0.04,
        tilt_x=math.tan(math.radians(tilt_x_deg)),
        tilt_y=math.tan(math.radians(tilt_y_deg)),
        focal_px=3000.0, size_px=(1000, 800),
    )  # fmt: skip
    return SurfaceMap(px_to_mm=pose.px_to_mm, **more)


POINTS_PX = np.array([[480.0, 390.0], [620.0, 300.0], [350.0, 520.0], [505.0, 401.5]])


@given(tx=angles, ty=angles)
def test_there_and_back(tx, ty):
    surface = pose_map(tx, ty)
    back = surface.to_px(surface.to_mm(POINTS_PX))
    assert np.abs(back - POINTS_PX).max() < 1e-6  # rounding only


@given(tx=angles, ty=angles, axis=st.floats(-60, 60), eye_x=st.floats(-20, 20))
def test_there_and_back_on_a_cylinder(tx, ty, axis, eye_x):
    surface = pose_map(tx, ty, radius_mm=30.0, axis_deg=axis, eye_mm=(eye_x, 5.0, 120.0))
    back = surface.to_px(surface.to_mm(POINTS_PX))
    assert np.abs(back - POINTS_PX).max() < 1e-6  # rounding only


@given(factor=st.floats(0.2, 5), tx=angles)
def test_lengths_scale_with_the_map(factor, tx):
    surface = pose_map(tx, 3.0)
    grown = SurfaceMap(px_to_mm=np.diag([factor, factor, 1.0]) @ surface.px_to_mm)
    assert grown.length_mm(POINTS_PX) == pytest.approx(factor * surface.length_mm(POINTS_PX))
    assert grown.area_mm2(POINTS_PX) == pytest.approx(factor**2 * surface.area_mm2(POINTS_PX))
    assert grown.mm_per_px_at(POINTS_PX[0]) == pytest.approx(
        factor * surface.mm_per_px_at(POINTS_PX[0])
    )


@given(turn=turns, shift=st.floats(-50, 50))
def test_lengths_do_not_care_for_the_frame(turn, shift):
    surface = pose_map(8.0, -4.0)
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    moved = np.array([[cos, -sin, shift], [sin, cos, -shift], [0, 0, 1]])
    other = SurfaceMap(px_to_mm=moved @ surface.px_to_mm)
    assert other.length_mm(POINTS_PX) == pytest.approx(surface.length_mm(POINTS_PX))
    assert other.area_mm2(POINTS_PX) == pytest.approx(surface.area_mm2(POINTS_PX))


@given(radius=st.floats(10, 200), share=st.floats(0.05, 0.75))
def test_arc_on_a_cylinder_seen_from_afar(radius, share):
    # closed form: a chord from the facing line to x spans the arc R asin(x / R)
    surface = SurfaceMap(px_to_mm=np.diag([0.1, 0.1, 1.0]), radius_mm=radius)
    x_px = share * radius / 0.1
    arc = surface.length_mm(np.array([[0.0, 5.0], [x_px, 5.0]]))
    assert arc == pytest.approx(radius * math.asin(share))
    turn = surface.turn_deg(np.array([[x_px, 5.0]]))[0]
    assert turn == pytest.approx(math.degrees(math.asin(share)))


@given(radius=st.floats(15, 80), angle=st.floats(-0.7, 0.7), v=st.floats(-20, 20))
def test_rays_meet_the_cylinder(radius, angle, v):
    # a true point on the cylinder, projected through the eye onto the tangent plane
    eye = np.array([6.0, -4.0, 250.0])
    point = np.array([radius * math.sin(angle), v, radius * (math.cos(angle) - 1)])
    share = eye[2] / (eye[2] - point[2])
    on_plane = eye + share * (point - eye)
    surface = SurfaceMap(px_to_mm=np.eye(3), radius_mm=radius, eye_mm=(eye[0], eye[1], eye[2]))
    found = surface.to_mm(on_plane[None, :2])[0]
    assert found[0] == pytest.approx(radius * angle, abs=1e-9)
    assert found[1] == pytest.approx(v, abs=1e-9)


@settings(max_examples=20)
@given(tx=angles, ty=angles)
def test_dictionary_round_trip(tx, ty):
    surface = pose_map(tx, ty, radius_mm=25.0, axis_deg=3.0, eye_mm=(1.0, 2.0, 120.0))
    again = SurfaceMap.from_dict(surface.to_dict())
    assert np.array_equal(again.to_mm(POINTS_PX), surface.to_mm(POINTS_PX))
