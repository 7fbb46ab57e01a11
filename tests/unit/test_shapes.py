"""Lines spliced, and areas added and taken away: against closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.errors import UsageError
from damagescore.ui.shapes import Points, joined, spliced, taken_away, tidied


def _circle(x: float, y: float, radius: float) -> Points:
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1)


def _area(outline: Points) -> float:
    x, y = outline.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def _lens(far: float, small: float, large: float) -> float:
    """Overlap of two circles, closed form of two circular segments."""
    a = math.acos((far**2 + small**2 - large**2) / (2 * far * small))
    b = math.acos((far**2 + large**2 - small**2) / (2 * far * large))
    heron = (small + large - far) * (far + small - large)
    heron *= (far - small + large) * (far + small + large)
    return small**2 * a + large**2 * b - math.sqrt(heron) / 2


@settings(deadline=None, max_examples=8)
@given(st.floats(12, 55), st.floats(15, 30), st.floats(0, 1))
def test_circles_join_and_part_as_their_closed_forms(
    far: float, small: float, shift: float
) -> None:
    first, other = _circle(80 + shift, 90, 40), _circle(80 + shift + far, 90, small)
    if not 40 - small + 2 < far < 40 + small - 2:
        return
    lens = _lens(far, small, 40)
    both = math.pi * (1600 + small**2) - lens
    # The border is kept to 1/16 px; the perimeters together are below 450 px.
    assert _area(joined(first, other)[0]) == pytest.approx(both, abs=28)
    assert _area(taken_away(first, other)[0]) == pytest.approx(1600 * math.pi - lens, abs=28)


def test_a_hole_counts_although_the_outline_is_one_line() -> None:
    (outline,) = taken_away(_circle(80, 90, 40), _circle(85, 95, 10))
    # 1/16 px along 314 px of border.
    assert _area(outline) == pytest.approx(math.pi * 1500, abs=20)
    (outline,) = taken_away(outline, _circle(60, 85, 8))
    assert _area(outline) == pytest.approx(math.pi * (1500 - 64), abs=24)  # 50 px more


def test_an_area_cut_through_falls_into_parts_the_largest_first() -> None:
    bar = np.array([[20.0, 40.0], [120.0, 40.0], [120.0, 60.0], [20.0, 60.0]])
    cut = np.array([[80.0, 0.0], [90.0, 0.0], [90.0, 99.0], [80.0, 99.0]])
    parts = taken_away(bar, cut)
    # Sides on whole pixels fall on the middle of no cell: 1/8 px of 160 px.
    assert [_area(p) for p in parts] == pytest.approx([1200, 600], abs=20)


def test_many_strokes_do_not_make_an_area_drift() -> None:
    outline = _circle(80, 90, 40)
    for _ in range(20):
        outline = joined(outline, _circle(80, 90, 5))[0]
    # A hundredth of a pixel a stroke: far below what the eye sets.
    assert math.sqrt(_area(outline) / math.pi) == pytest.approx(40, abs=0.2)


def test_the_loops_of_a_shaky_hand_are_left_out() -> None:
    loop = np.array([[50.0, 50.0], [90.0, 50.0], [90.0, 90.0], [88.0, 88.0], [50.0, 90.0]])
    crossed = np.vstack([loop, [[50.0, 49.0], [51.0, 50.0]]])
    assert _area(tidied(crossed)) == pytest.approx(_area(loop), abs=12)  # 1/16 px, 160 px


def test_what_cannot_be_done_is_told() -> None:
    circle, far = _circle(80, 90, 40), _circle(300, 300, 20)
    with pytest.raises(UsageError, match="does not touch"):
        joined(circle, far)
    with pytest.raises(UsageError, match="does not cover"):
        taken_away(circle, far)
    with pytest.raises(UsageError, match="Nothing would be left"):
        taken_away(circle, _circle(80, 90, 60))
    with pytest.raises(UsageError, match="2 points"):
        tidied(circle[:2])
    with pytest.raises(UsageError, match="encloses no area"):
        tidied(np.array([[0.0, 0.0], [5.0, 5.0], [10.0, 10.0]]))


def test_points_go_in_and_out_of_lines_and_outlines() -> None:
    line = np.array([[float(i), 0.0] for i in range(6)])
    new = np.array([[9.0, 9.0]])
    assert spliced(line, new, first=1, last=3)[:, 0].tolist() == [0, 9, 4, 5]
    assert spliced(line, new[:0], first=4, last=5)[:, 0].tolist() == [0, 1, 2, 3]
    # Over the end of an outline: 5 and 0 give way.
    assert spliced(line, new, first=5, last=0)[:, 0].tolist() == [1, 2, 3, 4, 9]
