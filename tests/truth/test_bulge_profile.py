"""Parabolic bulges on a leaning line, drawn in closed form."""

import numpy as np
import pytest

from damagescore.damage.bulge import bulge_profile, find_bulges
from damagescore.edge import find_edge
from damagescore.edge.record import Edge
from damagescore.errors import EdgeError
from tests.edge_renders import render_face, render_profile


@pytest.mark.parametrize("outward", ["right", "left", "down"])
def test_peaks_are_measured_whichever_way_the_part_faces(outward):
    render = render_profile((0.0, 0.8, 0.3, 0.0), outward=outward)
    edge = find_edge(render.photo, render.scale, view="profile")
    layers = bulge_profile(render.photo, edge, render.scale).layers
    peaks = sorted(x.peak.value for x in layers)
    # A quarter of a pixel is 0.01 mm; the datum adds as much again.
    assert peaks == pytest.approx([0.0, 0.0, 0.3, 0.8], abs=0.03)


@pytest.mark.parametrize("tilt", [-0.08, 0.0, 0.05])
def test_the_datum_leans_with_the_part(tilt):
    render = render_profile((0.0, 0.0, 0.6, 0.0), tilt=tilt)
    edge = find_edge(render.photo, render.scale, view="profile")
    found = find_bulges(render.photo, edge, render.scale)
    assert [f.layer for f in found] == [2]
    assert found[0].quantities["peak"].value == pytest.approx(0.6, abs=0.03)


def test_the_area_of_a_parabola_is_two_thirds_of_its_box():
    render = render_profile((0.0, 0.9, 0.0, 0.0))
    edge = find_edge(render.photo, render.scale, view="profile")
    (bulge,) = find_bulges(render.photo, edge, render.scale)
    # The 6 % next to each bond are left out: 1.5 % of a parabola's area; noise 2 %.
    assert bulge.quantities["area"].value == pytest.approx(2 / 3 * 0.9 * 3.1, rel=0.05)
    assert bulge.quantities["peak_over_thickness"].value == pytest.approx(90 / 3.1, rel=0.05)


def test_flat_layers_are_looked_at_and_none_is_called_a_bulge():
    render = render_profile((0.0, 0.0, 0.0, 0.0))
    edge = find_edge(render.photo, render.scale, view="profile")
    assert find_bulges(render.photo, edge, render.scale) == ()
    assert len(bulge_profile(render.photo, edge, render.scale).layers) == 4


def test_a_recess_is_reported_as_one():
    render = render_profile((0.0, 0.0, -0.5, 0.0))
    edge = find_edge(render.photo, render.scale, view="profile")
    (found,) = find_bulges(render.photo, edge, render.scale)
    assert found.quantities["recess"].value == pytest.approx(0.5, abs=0.03)
    assert "peak" not in found.quantities


def test_the_polygon_lies_on_the_bulge():
    render = render_profile((0.0, 0.8, 0.0, 0.0), tilt=0.0)
    edge = find_edge(render.photo, render.scale, view="profile")
    (found,) = find_bulges(render.photo, edge, render.scale)
    line = 0.45 * render.photo.width
    assert found.polygon_px[:, 0].min() > line - 1.0
    assert found.polygon_px[:, 0].max() == pytest.approx(line + 0.8 / 0.04, abs=1.0)


def test_a_face_view_has_no_outline_for_bulges():
    render = render_face()
    edge = find_edge(render.photo, render.scale)
    with pytest.raises(EdgeError, match="no outline"):
        find_bulges(render.photo, edge, render.scale)


def test_the_outline_survives_writing_and_reading():
    render = render_profile()
    edge = find_edge(render.photo, render.scale, view="profile")
    back = Edge.from_dict(edge.to_dict())
    assert np.abs(back.outline_px - edge.outline_px).max() < 1e-3  # three decimals are kept
