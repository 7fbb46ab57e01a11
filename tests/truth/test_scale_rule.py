"""Rule graduations in renders whose truth is exact."""

import numpy as np
import pytest

from damagescore.scale import ScaleRequest, find_scale
from tests.scale_renders import View, render, rule_print

VIEWS = {
    "square": View(mm_per_px=0.04, size_px=(1000, 600)),
    "tilted along": View(mm_per_px=0.04, tilt_y_deg=14, turn_deg=-5, size_px=(1000, 600)),
    "tilted across": View(mm_per_px=0.04, tilt_x_deg=10, turn_deg=3, size_px=(1000, 600)),
    "upright": View(mm_per_px=0.04, tilt_x_deg=6, turn_deg=90, size_px=(600, 1000)),
    "oblique": View(mm_per_px=0.05, tilt_x_deg=-9, turn_deg=40, size_px=(900, 800)),
    "upside down": View(mm_per_px=0.04, tilt_y_deg=5, turn_deg=180, size_px=(1000, 600)),
}


def along_errors(scale, view):
    ends = [((-13, 1), (13, 1)), ((-13, 1), (-3, 1)), ((2, 2), (12, 2))]
    return [
        scale.surface.length_mm(view.surface.to_px(np.array(e, float))) / (e[1][0] - e[0][0])
        - 1
        for e in ends
    ]


@pytest.mark.parametrize("name", VIEWS)
def test_lengths_along_the_rule(name):
    view = VIEWS[name]
    photo = render(view, rule_print(missing=(7,)), noise_dn=2, fine=4, with_focal=True)
    scale = find_scale(photo, ScaleRequest(kind="rule", size_mm=1.0))
    assert np.abs(along_errors(scale, view)).max() < 0.001  # 0.2 % is asked; half of it
    assert scale.tilt_deg == pytest.approx(view.tilt_deg, abs=1.5)


@pytest.mark.parametrize("name", VIEWS)
def test_lengths_across_the_rule_lie_within_the_claim(name):
    view = VIEWS[name]
    photo = render(view, rule_print(), noise_dn=2, fine=4)
    scale = find_scale(photo, ScaleRequest(kind="rule", size_mm=1.0))
    line_px = view.surface.to_px(np.array([[2.0, -5.0], [2.0, 3.0]]))
    error = scale.surface.length_mm(line_px) / 8 - 1
    assert abs(error) < 3 * scale.u_relative


def test_half_millimetre_pitch_and_half_inch_scale_alike():
    view = VIEWS["square"]
    photo = render(view, rule_print(), fine=4)
    one = find_scale(photo, ScaleRequest(kind="rule", size_mm=1.0))
    other = find_scale(photo, ScaleRequest(kind="rule", size_mm=0.5))
    assert other.mm_per_px == pytest.approx(one.mm_per_px / 2, rel=1e-6)


def test_mark_tells_the_length_between_the_first_and_last_graduation():
    photo = render(VIEWS["square"], rule_print(ticks=31), fine=4)
    (mark,) = find_scale(photo, ScaleRequest(kind="rule", size_mm=1.0)).marks
    assert mark.size_mm == 30.0
    assert mark.corners_px.shape == (2, 2)


LONG_LENS = View(
    mm_per_px=0.04, tilt_x_deg=12, tilt_y_deg=14, turn_deg=2, size_px=(1000, 600), focal_px=8000
)


def test_a_view_from_aside_and_above_tells_the_focal_length():
    photo = render(LONG_LENS, rule_print(), noise_dn=2, fine=4)
    scale = find_scale(photo, ScaleRequest(kind="rule", size_mm=1.0))
    assert scale.tilt_deg == pytest.approx(LONG_LENS.tilt_deg, abs=2 * scale.u_tilt_deg)
    # right angles are believed to 0.2 degrees, tilts' product is 0.053: 7 % of the square
    assert scale.u_log_focal < 0.1
    away = scale.surface.eye_mm[2]
    assert away / 0.04 == pytest.approx(8000 * np.cos(np.radians(18.3)), rel=0.15)


def test_graduations_hidden_in_the_middle_are_counted():
    photo = render(LONG_LENS, rule_print(missing=tuple(range(11, 19))), noise_dn=2, fine=4)
    scale = find_scale(photo, ScaleRequest(kind="rule", size_mm=1.0))
    assert np.abs(along_errors(scale, LONG_LENS)).max() < 0.001  # as with all of them
