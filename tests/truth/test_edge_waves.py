"""Layers that wave together, and layers round an edge: courses known in closed form."""

import numpy as np
import pytest

from damagescore.edge import find_edge
from damagescore.edge.flow import Flow
from damagescore.edge.round_flow import flow_of_round
from damagescore.scale import with_cylinder
from damagescore.scale.pose import Pose
from damagescore.scale.record import Scale, SurfaceMap
from tests.edge_renders import boundary_lines, photo_of, render_face

SIZE_PX = (1500, 1100)


@pytest.mark.parametrize("angle", [0.0, -6.0])
def test_a_wave_of_all_layers_is_followed(angle):
    # 10 mm long, 0.4 mm from low to high: no polynomial of the fourth order bends so
    render = render_face(angle_deg=angle, shape=(560, 1400), wave_px=(5.0, 250.0))
    lines = boundary_lines(find_edge(render.photo, render.scale))
    assert len(lines) == 8
    off = np.concatenate([render.misfit_px(line, k) for k, line in enumerate(lines)])
    inner = np.concatenate([np.abs(line[:, 0] - 700) < 620 for line in lines])
    # smoothing keeps waves longer than 7 mm; one of 10 mm loses a part of its height
    assert np.percentile(np.abs(off[inner]), 95) < 2.0


def test_level_and_height_are_inverse_with_a_wave():
    flow = Flow(
        centre_px=(500.0, 400.0), direction_rad=0.1, length_px=640.0,
        bow=np.array([0.0, 30.0, 0.0, -5.0]), stretch=np.array([0.03, 0.01]),
    )  # fmt: skip
    s = np.linspace(-450, 450, 31)
    waved = flow.waved(s, 6 * np.sin(s / 40)).waved(s[::2], np.ones(16))
    v = np.linspace(-200, 200, 31)
    assert waved.level(s, waved.height(s, v)) == pytest.approx(v, abs=1e-9)  # rounding
    x, y = waved.grid_px(s, v)
    exact = waved.to_px(s[None, :], v[:, None])
    assert np.abs(np.stack([x, y], axis=-1) - exact).max() < 1e-3  # single precision
    assert waved.shift(np.zeros(1))[0] == pytest.approx(1.0 + 0.0, abs=1e-9)  # sin 0 = 0


def test_the_surface_tells_how_layers_bow_round_an_edge():
    pose = Pose(mm_per_px=0.04, tilt_x=0.05, tilt_y=0.25, focal_px=3500.0, size_px=SIZE_PX)
    scale = Scale(
        method="squares", surface=SurfaceMap(px_to_mm=pose.px_to_mm, eye_mm=pose.eye_mm),
        centre_px=(750.0, 550.0), u_relative=0.001, tilt_deg=pose.tilt_deg, marks=(),
    )  # fmt: skip
    photo = photo_of(np.zeros((SIZE_PX[1], SIZE_PX[0], 3)))
    round_scale = with_cylinder(scale, photo, radius_mm=30.0)
    flow = flow_of_round(photo, round_scale, 0.0)
    surface = round_scale.surface
    arcs = surface.facing_mm + 30.0 * np.radians(np.linspace(-35, 35, 41))
    for level in (-6.0, 0.0, 6.0):
        line = surface.to_px(np.column_stack([arcs, np.full(41, level)]))
        _, v = flow.from_px(line)
        bowed = np.ptp(line[:, 1])
        assert bowed > 20
        # what is left is within the reach of the first pass over the photo, 14 rows of 1.4 px
        assert np.ptp(v) < 0.25 * bowed + 3
