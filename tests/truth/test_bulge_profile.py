"""Parabolic bulges on a leaning line, drawn in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from damagescore.damage.bulge import bulge_profile, find_bulges
from damagescore.damage.bulge_datum import fit_datum
from damagescore.damage.bulge_ends import layer_ends
from damagescore.edge import find_edge
from damagescore.edge.record import Edge, Layer
from damagescore.errors import EdgeError
from damagescore.quantity import NotMeasured
from damagescore.totals import totals_of
from tests.edge_renders import Stack, render_face, render_profile, scale_of


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


def test_layers_before_another_background_are_found():
    # The bench begins beside the third rubber layer.
    bench = (Stack().boundaries_mm[5] - 1.0, 150.0)
    render = render_profile((0.0, 0.8, 0.0, 0.5), bench=bench)
    edge = find_edge(render.photo, render.scale, view="profile")
    assert len(edge.rubber) == 4
    assert edge.doubt == ""
    peaks = [x.peak.value for x in bulge_profile(render.photo, edge, render.scale).layers]
    # Two pixels: beside the line between both backgrounds the outline is not sure.
    assert sorted(peaks) == pytest.approx([0.0, 0.0, 0.5, 0.8], abs=0.08)


def _background_like_layer(k, rubber=58.0):
    """Background (H, W) that is of the rubber's grey beside rubber layer k from the top."""
    level = (np.arange(640) - 319.5) * 0.04
    bounds = Stack().boundaries_mm
    beside = (level > bounds[2 * k] + 0.3) & (level < bounds[2 * k + 1] - 0.3)
    return np.where(beside[:, None], rubber, 225.0) * np.ones((640, 760))


def test_a_layer_lost_before_the_background_is_not_measured_and_the_others_are():
    render = render_profile((0.0, 0.3, 0.0, 0.5), behind=_background_like_layer(1))
    edge = find_edge(render.photo, render.scale, view="profile")
    profile = bulge_profile(render.photo, edge, render.scale)
    assert [x.layer for x in profile.lost] == [4]
    peaks = {x.layer: x.peak.value for x in profile.layers}
    # Two pixels of 0.04 mm: the background's own borders cross the outline.
    assert peaks == pytest.approx({0: 0.5, 2: 0.0, 6: 0.0}, abs=0.08)
    found = {f.layer: f for f in find_bulges(render.photo, edge, render.scale)}
    assert sorted(found) == [0, 4]
    assert all(isinstance(q, NotMeasured) for q in found[4].quantities.values())
    total = totals_of(found.values(), edge, scale=render.scale)["bulge_peak"]
    assert isinstance(total, NotMeasured)  # the largest bulge may be the one that is lost


def test_a_part_of_which_most_layers_are_lost_is_refused():
    behind = np.minimum(_background_like_layer(1), _background_like_layer(2))
    behind = np.minimum(behind, _background_like_layer(3))
    render = render_profile((0.0, 0.3, 0.0, 0.5), behind=behind)
    edge = find_edge(render.photo, render.scale, view="profile")
    with pytest.raises(EdgeError, match="layers are lost"):
        bulge_profile(render.photo, edge, render.scale)


def test_a_stack_cut_off_by_what_stands_before_it_is_doubted():
    render = render_profile((0.0, 0.8, 0.0, 0.0))
    rgb = render.photo.rgb.copy()
    cut = round((render.photo.height - 1) / 2 + (Stack().boundaries_mm[7] - 1.2) / 0.04)
    rgb[cut:] = 90  # a bench that hides most of the lowest layer
    grey = rgb.mean(axis=2).astype(np.float32)
    photo = replace(render.photo, rgb=rgb, grey=grey)
    edge = find_edge(photo, render.scale, view="profile")
    assert edge.doubt


def _outline(ends_mm, *, flank=None):
    """Outline (N, 2), mm, 0.02 mm a row, of four shims 0.5 mm wide with rubber between."""
    t = np.arange(0.0, 12.0, 0.02)
    out = np.full(len(t), -0.1)
    shims = []
    for k, end in enumerate(ends_mm):
        middle = 1.5 + 3.0 * k
        out[np.abs(t - middle) < 0.6] = end
        shims.append(np.abs(t - middle) < 0.125)
    if flank is not None:  # a bulge that reaches over most of a shim
        middle = 1.5 + 3.0 * flank
        out = np.maximum(out, 1.0 - 2.5 * np.abs(t - middle + 0.3))
    return np.column_stack([out, t]), shims


def test_shims_that_stand_apart_leave_the_datum_as_sure_as_their_ends_are():
    outline, shims = _outline((0.0, 0.05, -0.05, 0.0))
    # 0.3 px of level bias, as a rectangle
    level = np.full(len(outline), 0.3 * 0.02 / 3**0.5)
    datum = fit_datum(outline, shims, np.array([-5.0, 6.0]), level=level)
    _, out = datum.frame(outline)
    line = np.polyfit([1.5, 4.5, 7.5, 10.5], [0.0, 0.05, -0.05, 0.0], 1)
    at = np.flatnonzero(shims[1])[0]
    # Least squares through the ends, by hand; the frame's own turn is second order.
    assert out[at] == pytest.approx(0.05 - np.polyval(line, outline[at, 1]), abs=1e-3)
    # Each half of the ends errs as one, so that the four count as two.
    least = level[0] / 2**0.5
    assert least * (1 - 1e-9) < datum.u_at(0.0) < 3 * least


def test_a_shim_on_the_flank_of_a_bulge_is_taken_at_its_foot():
    outline, shims = _outline((0.0, 0.0, 0.0, 0.0), flank=2)
    datum = fit_datum(outline, shims, np.array([-5.0, 6.0]), level=np.zeros(len(outline)))
    _, out = datum.frame(outline)
    assert out[shims[0]] == pytest.approx(0.0, abs=0.03)  # half a row of the flank's slope


def _ring_edge(*, slant: float, radius_mm: float = 30.0, mm_per_px: float = 0.04) -> Edge:
    """Five boundaries of a ring's layers from 0.4 to 8 mm inside the outline at x = 500.

    The camera looks at the middle one: the others turn towards it inside by the ellipse's
    height beside its vertex, and are known up to 0.4 mm beside the outline.
    """
    depth = np.concatenate([[0.0], np.arange(0.4, 8.0, 0.15)])
    reach = np.sqrt(2 * radius_mm * np.maximum(depth, 0.4) - np.maximum(depth, 0.4) ** 2)
    curves = []
    for row in (100.0, 200.0, 300.0, 400.0, 500.0, 600.0):
        turn = slant * (row - 350.0) / 250.0
        rows = row + turn * reach / mm_per_px
        curves.append(np.column_stack([500.0 - depth / mm_per_px, rows])[::-1])
    kinds = ("rubber", "shim", "rubber", "shim", "rubber")
    layers = tuple(
        Layer(
            index=i, kind=kind, upper_px=curves[4 - i], lower_px=curves[5 - i],
            thickness=NotMeasured(reason="drawn", unit="mm"),
        )
        for i, kind in enumerate(kinds)
    )  # fmt: skip
    outline = np.column_stack([np.full(801, 500.0), np.arange(801.0)])
    return Edge(layers=layers, shape=(800, 800), outline_px=outline)


@pytest.mark.parametrize("slant", [0.0, 0.05])
def test_layers_of_a_ring_seen_at_a_slant_are_followed_to_the_outline(slant):
    edge = _ring_edge(slant=slant)
    ends = layer_ends(edge, edge.outline_px, scale_of(0.04, shape=(800, 800)))
    for index in (1, 2, 3):  # the stack's own ends follow from the others
        upper = 500 - 100 * index
        # The law holds to d / 4r at a depth d: 4 % of 6 px at 5 mm; and whole rows.
        found = (ends[index].first, ends[index].last)
        assert found == pytest.approx((upper, upper + 100), abs=1.5)
        assert ends[index].known > 0.99  # the outline has every row
