"""What an inspector lets be judged: mask, visible lengths and shares follow."""

from pathlib import Path

import numpy as np
import pytest

from damagescore.edge import edge_from_curves, find_edge, with_region
from damagescore.edge.record import Edge
from damagescore.edge.region import visible_length_mm, visible_spans_mm
from damagescore.errors import EdgeError
from damagescore.layers import with_layers
from damagescore.measure import MeasureOptions, measure_photo
from damagescore.photo import read_photo
from damagescore.photo.outline import inside_outline
from damagescore.quantity import Measured
from tests.conftest import plain_scale

X = np.linspace(0.0, 399.0, 40)
SCALE = plain_scale()
MM = SCALE.mm_per_px

CRACKS = Path(__file__).parents[2] / "demo_images" / "hv2210-01-cracks.jpg"


def _edge() -> Edge:
    lines = [np.column_stack([X, np.full_like(X, y)]) for y in (280.0, 200.0, 180.0, 100.0)]
    return edge_from_curves(lines, SCALE, shape=(300, 400))


def _box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def test_only_rubber_in_the_region_is_judged() -> None:
    judged = with_region(_edge(), region_px=_box(100, 0, 200, 300)).judged
    rows, columns = np.nonzero(judged)
    assert (columns.min(), columns.max()) == (100, 200)
    assert not judged[185:195].any()  # the shim
    assert set(rows) >= {110, 190 - 80, 210, 270}


def test_an_area_kept_out_is_not_judged_and_the_card_stays_kept_out() -> None:
    card = _box(0, 90, 50, 290)
    lines = [x.upper_px for x in _edge().layers]
    edge = edge_from_curves(
        [_edge().layers[0].lower_px, *lines], SCALE, shape=(300, 400), keep_out_px=[card]
    )
    drawn = with_region(edge, keep_out_px=[_box(300, 90, 399, 290)])
    assert not drawn.judged[:, :49].any()
    assert not drawn.judged[:, 302:].any()
    assert drawn.judged[150, 60:298].all()
    # Drawn again without areas, all of the rubber but the card is back.
    assert np.array_equal(with_region(drawn).judged, edge.judged)


def test_visible_lengths_follow() -> None:
    edge, step = _edge(), 399 / 400 * MM
    whole = visible_length_mm(edge.layers[0], edge, SCALE)
    assert whole == pytest.approx(399 * MM, abs=1e-9)  # exact: nothing is kept out
    half = with_region(edge, region_px=_box(-1, -1, 200, 301))
    # A station is a 400th of the length: one at either end may go either way.
    assert visible_length_mm(half.layers[0], half, SCALE) == pytest.approx(200 * MM, abs=step)
    gap = with_region(edge, keep_out_px=[_box(100, 195, 150, 285)])
    spans = visible_spans_mm(gap.layers[0], gap, SCALE)
    assert len(spans) == 2
    assert spans[1][0] - spans[0][1] == pytest.approx(50 * MM, abs=2 * step)  # both ends
    # The area lies over the lower layer alone.
    assert visible_length_mm(gap.layers[2], gap, SCALE) == pytest.approx(whole)


def test_less_than_half_of_the_thickness_kept_out_leaves_the_layer_visible() -> None:
    edge = _edge()
    thin = with_region(edge, keep_out_px=[_box(100, 270, 150, 285)])
    assert len(visible_spans_mm(thin.layers[0], thin, SCALE)) == 1
    assert not thin.judged[275, 110]


def test_outlines_that_cannot_be_are_refused() -> None:
    with pytest.raises(EdgeError, match="three or more"):
        with_region(_edge(), region_px=np.array([[0.0, 0.0], [9.0, 9.0]]))
    with pytest.raises(EdgeError, match="three or more"):
        with_region(_edge(), keep_out_px=[np.array([[0.0, 0.0], [9.0, np.nan], [3.0, 1.0]])])
    with pytest.raises(EdgeError, match="No rubber is left"):
        with_region(_edge(), region_px=_box(0, 0, 399, 90))


def test_a_region_is_stored_and_read_back() -> None:
    edge = with_region(
        _edge(), region_px=_box(10, 20, 200, 290), keep_out_px=[_box(1, 2, 9, 9)]
    )
    again = Edge.from_dict(edge.to_dict())
    assert np.array_equal(again.judged, edge.judged)
    old = edge.to_dict()
    del old["region_px"], old["drawn_keep_out_px"]  # a record written before there were any
    assert Edge.from_dict(old).region_px is None


def test_inside_outline_of_a_shape_that_is_not_convex() -> None:
    shape = np.array([[0, 0], [4, 0], [4, 4], [2, 1], [0, 4]], float)
    points = np.array([[2.0, 0.5], [2.0, 2.0], [0.5, 2.0], [3.6, 2.0], [5.0, 1.0]])
    assert inside_outline(points, shape).tolist() == [True, False, True, True, False]


def test_shares_follow_a_region_on_a_measured_photo() -> None:
    photo = read_photo(CRACKS)
    measured = measure_photo(photo, MeasureOptions())
    assert measured.edge is not None
    crack = next(f for f in measured.findings if f.kind == "crack")
    low, high = np.vstack(crack.lines_px)[:, 0].min(), np.vstack(crack.lines_px)[:, 0].max()
    region = _box(low - 60, -1, high + 60, photo.height)
    edge = with_region(measured.edge, region_px=region)
    after = with_layers(photo, measured, edge)
    same = next(f for f in after.findings if f.id == crack.id)
    lengths = [
        f.quantities["extent"].value / (f.quantities["share_of_layer"].value / 100)
        for f in (crack, same)
    ]
    assert measured.scale is not None
    # The layer is seen as far as the region reaches; 3 %: perspective over the photo.
    expected = (high - low + 120) * measured.scale.mm_per_px
    assert lengths[1] == pytest.approx(expected, rel=0.03)
    assert lengths[0] > 1.5 * lengths[1]
    extent = after.totals["crack_extent_percent"]
    assert isinstance(extent, Measured)
    assert extent.value > measured.totals["crack_extent_percent"].value
    assert extent.value <= 100.0


def test_the_search_keeps_to_a_region() -> None:
    photo = read_photo(CRACKS)
    scale = measure_photo(photo, MeasureOptions()).scale
    assert scale is not None
    whole = find_edge(photo, scale)
    region = _box(0.2 * photo.width, -1, 0.8 * photo.width, photo.height)
    edge = find_edge(photo, scale, region_px=region)
    assert len(edge.layers) == len(whole.layers)
    columns = np.nonzero(edge.judged.any(axis=0))[0]
    assert columns.min() >= 0.2 * photo.width - 1
    assert columns.max() <= 0.8 * photo.width + 1
