"""Straight layers drawn in closed form: count, place and thickness are known."""

import numpy as np
import pytest

from damagescore.edge import find_edge
from damagescore.errors import EdgeError
from tests.edge_renders import Stack, boundary_lines, photo_of, render_face, scale_of

ANGLES = (0.0, 2.5, -7.0, 20.0, 45.0, -60.0, 90.0)


@pytest.mark.parametrize("angle", ANGLES)
def test_straight_layers_are_found_to_a_fraction_of_a_pixel_at_every_angle(angle):
    render = render_face(angle_deg=angle)
    lines = boundary_lines(find_edge(render.photo, render.scale))
    assert len(lines) == 8
    off = [np.median(render.misfit_px(line, k)) for k, line in enumerate(lines)]
    # Grain of 6 grey levels against steps of 60 to 110 moves a block by 0.1 px.
    assert np.abs(off).max() < 0.25


@pytest.mark.parametrize("angle", ANGLES[:3])
def test_every_point_of_a_boundary_stays_near_it(angle):
    render = render_face(angle_deg=angle)
    lines = boundary_lines(find_edge(render.photo, render.scale))
    worst = [np.abs(render.misfit_px(line, k)).max() for k, line in enumerate(lines)]
    assert max(worst) < 1.0  # waves longer than 7 mm pass the smoothing


@pytest.mark.parametrize(
    "stack",
    [
        Stack(shim=(30, 30, 30), rubber=(95, 92, 90)),
        Stack(shim=(96, 78, 56), rubber=(78, 80, 84), plate=(40, 70, 130)),
        Stack(rubber=(105, 70, 45), shim=(150, 150, 150), plate=(60, 60, 60)),
        Stack(rubber_mm=(2.0, 1.9, 2.1, 2.0, 2.0, 1.95, 2.05), shim_mm=0.35),
    ],
    ids=["dark shims", "shims told by colour", "brown rubber", "thin layers"],
)
def test_layers_are_counted_without_being_told(stack):
    edge = find_edge(*_inputs(render_face(stack)))
    assert len(edge.rubber) == len(stack.rubber_mm)
    assert [x.kind for x in edge.layers] == ["rubber", "shim"] * (len(edge.rubber) - 1) + [
        "rubber"
    ]


def test_a_light_that_falls_off_threefold_changes_nothing():
    render = render_face(light=1.0)
    lines = boundary_lines(find_edge(render.photo, render.scale))
    off = [np.median(render.misfit_px(line, k)) for k, line in enumerate(lines)]
    assert len(off) == 8
    assert np.abs(off).max() < 0.3  # darker side: more noise per step


def test_thickness_is_within_its_uncertainty():
    stack = Stack()
    render = render_face(stack, angle_deg=3.0)
    edge = find_edge(render.photo, render.scale)
    for layer, true in zip(edge.rubber, reversed(stack.rubber_mm), strict=True):
        assert layer.thickness.value == pytest.approx(true, abs=3 * layer.thickness.u)
        assert layer.thickness.u < 0.05  # a pixel is 0.04 mm


def test_the_judged_area_is_rubber_only():
    render = render_face()
    edge = find_edge(render.photo, render.scale)
    y = np.arange(render.photo.height) - render.centre_px[1]
    inside = np.zeros(len(y), dtype=bool)
    for top, bottom in render.boundaries_px.reshape(-1, 2):
        inside |= (y > top) & (y < bottom)
    share = edge.judged[:, 380] == inside
    assert (~share).sum() <= len(render.boundaries_px)  # at most the pixel on each boundary


def test_a_known_number_of_layers_is_kept():
    render = render_face()
    assert len(find_edge(render.photo, render.scale, n_layers=4).rubber) == 4


def test_a_single_shim_is_found_when_told():
    render = render_face(Stack(rubber_mm=(4.2, 4.6), shim_mm=1.0))
    edge = find_edge(render.photo, render.scale, n_layers=2)
    thickness = [x.thickness.value for x in edge.rubber]
    assert thickness == pytest.approx([4.6, 4.2], abs=0.04)  # a pixel


def test_index_0_is_the_lowest_layer():
    edge = find_edge(*_inputs(render_face()))
    heights = [x.polygon_px[:, 1].mean() for x in edge.layers]
    assert heights == sorted(heights, reverse=True)


def test_a_plain_photo_has_no_layers():
    rng = np.random.default_rng(3)
    rgb = 120 + 2 * rng.normal(size=(400, 500, 3))
    with pytest.raises(EdgeError, match="No stack"):
        find_edge(photo_of(rgb), scale_of(0.04, shape=(400, 500)))


def test_impossible_numbers_of_layers_are_refused():
    render = render_face()
    with pytest.raises(EdgeError, match="1 rubber layers"):
        find_edge(render.photo, render.scale, n_layers=1)


def _inputs(render):
    return render.photo, render.scale
