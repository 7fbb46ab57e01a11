"""Laws of measured lines: scaling, shift, mirror, quarter turn, order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.damage import measure_lines, trace_crack
from tests.crack_drawing import draw, length_of, photo_of, scale_of, straight

BLANK = photo_of(np.full((300, 300), 70.0))
coordinates = st.tuples(st.floats(10, 290), st.floats(10, 290))
lines = (
    st.lists(coordinates, min_size=2, max_size=12)
    .map(np.array)
    .filter(lambda line: np.hypot(*np.diff(line, axis=0).T).min() > 2)
)
onward = lines.map(lambda line: line[np.argsort(line[:, 0])]).filter(
    lambda line: np.hypot(*np.diff(line, axis=0).T).min() > 2
)
quick = settings(max_examples=40, deadline=None)


def length_mm(line, mm_per_px=0.04):
    found = measure_lines(BLANK, [line], scale_of(mm_per_px), origin="drawn")
    return found["length"]


@quick
@given(lines)
def test_doubling_the_scale_doubles_every_length_and_its_scale_budget(line):
    one, two = length_mm(line, 0.04), length_mm(line, 0.08)
    assert two.value == pytest.approx(2 * one.value, rel=1e-9)  # arithmetic only
    by_scale = [next(c.u for c in q.budget if c.source == "scale") for q in (one, two)]
    assert by_scale[1] == pytest.approx(2 * by_scale[0], rel=1e-9)


@quick
@given(onward)
def test_length_does_not_depend_on_the_order_or_the_mirror(line):
    forward = length_mm(line).value
    # Simplifying starts at one end: a quarter of a pixel may be kept or dropped at a bend.
    slack = 0.04 * 0.25 * len(line)
    assert length_mm(line[::-1]).value == pytest.approx(forward, abs=slack)
    assert length_mm(line[:, ::-1]).value == pytest.approx(forward, abs=slack)


@quick
@given(lines)
def test_no_line_is_longer_than_its_polyline_nor_shorter_than_its_chord(line):
    found = length_mm(line).value
    assert found <= 0.04 * length_of(line) * (1 + 1e-6)  # single-precision vertices
    assert found >= 0.04 * np.hypot(*(line[-1] - line[0])) * (1 - 1e-6)


@settings(max_examples=8, deadline=None)
@given(angle=st.floats(0, 180), dx=st.integers(-15, 15), dy=st.integers(-15, 15))
def test_tracing_moves_with_the_photo(angle, dx, dy):
    line = straight((100, 100), angle, 120.0)
    photo = draw([(line, 4.0)], shape=(200, 200), noise=1.0)
    moved = photo_of(np.roll(photo.grey, (dy, dx), axis=(0, 1)))
    here = trace_crack(photo, line[[0, -1]], scale_of()).quantities["length"].value
    there = trace_crack(moved, line[[0, -1]] + [dx, dy], scale_of()).quantities["length"].value
    assert there == pytest.approx(here, abs=0.01)  # a quarter pixel: the corridor's corner


@settings(max_examples=8, deadline=None)
@given(angle=st.floats(0, 180))
def test_tracing_does_not_mind_mirror_and_quarter_turn(angle):
    line = straight((100.0, 100.0), angle, 120.0)
    photo = draw([(line, 4.0)], shape=(201, 201), noise=1.0)
    here = trace_crack(photo, line[[0, -1]], scale_of()).quantities["length"].value
    for turned, points in (
        (photo.grey.T, line[:, ::-1]),
        (np.rot90(photo.grey), np.column_stack([line[:, 1], 200 - line[:, 0]])),
    ):
        other = trace_crack(photo_of(np.ascontiguousarray(turned)), points[[0, -1]], scale_of())
        found = other.quantities["length"].value
        assert found == pytest.approx(here, abs=0.01)  # a quarter pixel of path choice
