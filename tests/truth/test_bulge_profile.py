"""Parabolic bulges on a leaning line, drawn in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from damagescore.damage.bulge import bulge_profile, find_bulges
from damagescore.damage.bulge_datum import fit_datum
from damagescore.damage.bulge_ends import layer_ends
from damagescore.damage.bulge_shim import ShimEnd
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
    """Outline (N, 2), mm, 0.02 mm a row, of shims 0.5 mm wide with rubber between, and where
    their bonds reach it, (K, 2, 2)."""
    t = np.arange(0.0, 3.0 * len(ends_mm), 0.02)
    out = np.full(len(t), -0.1)
    middles = 1.5 + 3.0 * np.arange(len(ends_mm))
    for middle, end in zip(middles, ends_mm, strict=True):
        out[np.abs(t - middle) < 0.6] = end
    if flank is not None:  # a bulge that reaches over most of a shim
        out = np.maximum(out, 1.0 - 2.5 * np.abs(t - middles[flank] + 0.3))
    levels = middles[:, None] + np.array([-0.25, 0.25])
    return np.column_stack([out, t]), np.stack([0 * levels, levels], axis=-1)


def _datum_of(outline, reach, *, level=0.0, together=None):
    return fit_datum(
        outline, reach, np.array([-5.0, 6.0]), level=np.full(len(outline), level),
        u_place=np.full(len(reach), 0.12), together=together,
    )  # fmt: skip


def test_shims_that_stand_apart_leave_the_datum_as_sure_as_their_ends_are():
    ends = (0.0, 0.05, -0.05, 0.0)
    outline, reach = _outline(ends)
    level = 0.3 * 0.02 / 3**0.5  # 0.3 px of level bias, as a rectangle
    datum = _datum_of(outline, reach, level=level)
    middles = reach[:, :, 1].mean(axis=1)
    _, out = datum.frame(np.column_stack([ends, middles]))
    line = np.polyfit(middles, ends, 1)
    # Least squares through the ends, by hand; the frame's own turn is second order, and a
    # level of a fifth of a row moves each end by hundredths of its distance from the others.
    assert out == pytest.approx(ends - np.polyval(line, middles), abs=1e-3)
    # Each half of the ends errs as one, so that the four count as two.
    least = level / 2**0.5
    assert 0.9 * least < datum.u_at(0.0) < 3 * least


def test_a_shim_on_the_flank_of_a_bulge_is_taken_where_the_outline_is_straight():
    outline, reach = _outline((0.0, 0.0, 0.0, 0.0), flank=2)
    datum = _datum_of(outline, reach)
    _, out = datum.frame(np.column_stack([np.zeros(4), reach[:, :, 1].mean(axis=1)]))
    assert out == pytest.approx(0.0, abs=0.03)  # half a row of the flank's slope


def test_rows_that_disagree_with_all_rows_together_make_an_end_unsure():
    outline, reach = _outline((0.0, 0.0, 0.0, 0.3))  # the last one was seen on what is behind

    def together(found):
        at = found.mean(axis=1)
        at[:, 0] = 0.0
        return [ShimEnd(at_mm=x, u_mm=0.03, u_row_mm=0.01) for x in at]

    alone = _datum_of(outline, reach)
    both = _datum_of(outline, reach, together=together)
    place = reach[-1].mean(axis=0)
    true = np.array([[0.0, place[1]]])
    t, off = both.frame(true)
    _, turned = alone.frame(true)
    assert abs(turned[0]) > 0.1  # the fault: least squares through it as it is
    assert abs(off[0]) < 0.05  # of 0.3; the other three scatter by nothing
    assert abs(off[0]) < 2 * both.u_at(float(t[0]))


def test_a_shim_end_kept_from_being_judged_carries_no_datum():
    render = render_profile((0.0, 0.8, 0.3, 0.0), tilt=0.0)
    rgb = render.photo.rgb.copy()
    bounds = Stack().boundaries_mm / 0.04 + (render.photo.height - 1) / 2
    line = round(0.45 * render.photo.width)
    rows = slice(round(bounds[1]) + 1, round(bounds[2]))
    rgb[rows, line : line + 6] = (170, 165, 155)  # 0.24 mm more of the uppermost shim
    photo = replace(render.photo, rgb=rgb, grey=rgb.mean(axis=2).astype(np.float32))
    edge = find_edge(photo, render.scale, view="profile")
    top, bottom = rows.start - 3.0, rows.stop + 3.0
    area = [
        [line - 40.0, top],
        [line + 40.0, top],
        [line + 40.0, bottom],
        [line - 40.0, bottom],
    ]
    kept_out = replace(edge, drawn_keep_out_px=(np.array(area),))
    errors = [
        [x.peak.value - t for x, t in zip(profile.layers, (0.0, 0.3, 0.8, 0.0), strict=True)]
        for profile in (bulge_profile(photo, e, render.scale) for e in (edge, kept_out))
    ]
    assert max(np.abs(errors[0])) > 0.1  # the fault
    assert errors[1] == pytest.approx([0.0] * 4, abs=0.03)  # three quarters of a pixel


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_shims_as_grey_and_bright_as_the_background_do_not_turn_the_datum(seed):
    alike = Stack(rubber_mm=(2.4, 2.5, 2.3, 2.4, 2.5), shim_mm=0.8, shim=(166, 165, 163))
    peaks = (0.0, 0.8, 0.3, 0.0, 0.5)
    render = render_profile(peaks, stack=alike, background=165.0, noise=1.5, seed=seed)
    edge = find_edge(render.photo, render.scale, view="profile")
    layers = bulge_profile(render.photo, edge, render.scale).layers
    errors = [x.peak.value - true for x, true in zip(layers, reversed(peaks), strict=True)]
    # Two pixels: single rows of these shims lie up to eight pixels inside their ends.
    assert errors == pytest.approx([0.0] * 5, abs=0.08)
    assert all(abs(e) < 2 * x.peak.u for e, x in zip(errors, layers, strict=True))


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
