"""Tracing says plainly why it cannot trace."""

import numpy as np
import pytest

from damagescore.damage import measure_lines, snap_path, trace_crack
from damagescore.errors import TraceError, UsageError
from tests.crack_drawing import draw, edge_of, scale_of, straight

LINE = straight((150, 100), 10, 200)
PHOTO = draw([(LINE, 5.0)], shape=(200, 300), grain=0.05)


def test_one_point_is_too_few():
    with pytest.raises(TraceError, match="two different points"):
        trace_crack(PHOTO, [[50, 50]], scale_of())
    with pytest.raises(TraceError, match="two different points"):
        trace_crack(PHOTO, [[50, 50], [50.2, 50.1]], scale_of())


def test_a_point_outside_the_photo_is_named():
    with pytest.raises(TraceError, match=r"\(400, 50\).*300 by 200"):
        trace_crack(PHOTO, [[50, 50], [400, 50]], scale_of())


def test_nothing_dark_gives_the_contrast_that_was_seen():
    with pytest.raises(TraceError, match=r"\d+ % darker.*8 % is needed"):
        trace_crack(PHOTO, [[40, 25], [260, 30]], scale_of())


def test_lines_without_length_are_refused():
    with pytest.raises(UsageError, match="two different points"):
        measure_lines(PHOTO, [np.array([[5.0, 5.0], [5.0, 5.0]])], scale_of())


def test_without_an_edge_the_extent_is_not_measured_rather_than_nought():
    found = trace_crack(PHOTO, LINE[[0, -1]], scale_of())
    assert found.layer is None
    assert found.origin == "traced"
    assert found.quantities["extent"].reason
    edge = edge_of((200, 300))
    known = trace_crack(PHOTO, LINE[[0, -1]], scale_of(), edge=edge, finding_id="crack-7")
    assert (known.id, known.layer) == ("crack-7", 1)
    assert known.quantities["extent"].value == pytest.approx(
        0.04 * np.ptp(LINE[:, 0]), rel=0.01
    )


def test_every_budget_adds_up_and_names_the_scale():
    found = trace_crack(PHOTO, LINE[[0, -1]], scale_of(), edge=edge_of((200, 300)))
    for name in ("length", "width_max", "width_mean", "extent"):
        quantity = found.quantities[name]
        assert "scale" in [c.source for c in quantity.budget]
        rss = np.sqrt(sum(c.u**2 for c in quantity.budget))
        assert quantity.u == pytest.approx(rss, rel=1e-9)  # arithmetic only


def test_snapping_follows_the_stroke_and_falls_back_to_the_straight_line():
    way = snap_path(PHOTO, LINE[0], LINE[-1])
    normal = np.array([-np.sin(np.radians(10)), np.cos(np.radians(10))])
    assert np.abs((way - (150, 100)) @ normal).max() < 3.0  # half the stroke's 5 px, one pixel
    outside = snap_path(PHOTO, [10, 10], [900, 10])
    assert outside.tolist() == [[10, 10], [900, 10]]


def test_clicks_beside_the_stroke_are_moved_across_not_along():
    normal = np.array([-np.sin(np.radians(10)), np.cos(np.radians(10))])
    clicks = LINE[[0, -1]] + 3 * normal
    found = trace_crack(PHOTO, clicks, scale_of())
    assert found.quantities["length"].value == pytest.approx(8.0, rel=5e-3)  # a pixel at 200
