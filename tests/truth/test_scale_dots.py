"""Two dots in renders whose truth is exact."""

import numpy as np
import pytest

from damagescore.errors import ScaleError
from damagescore.scale import ScaleRequest, find_scale
from tests.scale_renders import INK, PAPER, View, dots_print, render

VIEWS = {
    "square": View(size_px=(700, 360)),
    "tilted": View(tilt_x_deg=10, turn_deg=3, size_px=(700, 360)),
    "aslant": View(tilt_y_deg=15, turn_deg=-5, size_px=(700, 360)),
    "oblique": View(tilt_x_deg=-20, tilt_y_deg=10, turn_deg=40, size_px=(600, 600)),
}


@pytest.mark.parametrize("name", VIEWS)
def test_lengths_everywhere_on_the_card(name):
    view = VIEWS[name]
    photo = render(view, dots_print(), noise_dn=2, fine=4)
    scale = find_scale(photo, ScaleRequest(kind="two_dots", size_mm=20.0))
    for start, end in [((-10, 0), (10, 0)), ((0, -5), (0, 5)), ((-10, -5), (8, 4))]:
        line_px = view.surface.to_px(np.array([start, end], float))
        true_mm = float(np.hypot(end[0] - start[0], end[1] - start[1]))
        assert scale.surface.length_mm(line_px) == pytest.approx(true_mm, rel=0.002)  # 2 u


def test_washer_hole_and_letter_are_not_dots():
    def print_(x, y):
        dots = dots_print()(x, y)
        washer = (np.hypot(x, y - 12) < 2.5) & (np.hypot(x, y - 12) > 1.2)
        hole = np.hypot(x + 9, y - 12) < 2.0
        bar = (np.abs(x - 3) < 0.5) & (np.abs(y) < 1.5)
        return np.where(washer, 0.5, np.where(hole, 0.02, np.where(bar, INK, dots)))

    view = View(size_px=(700, 640))
    scale = find_scale(
        render(view, print_, fine=3), ScaleRequest(kind="two_dots", size_mm=20.0)
    )
    found_mm = scale.surface.to_mm(np.array([m.corners_px[0] for m in scale.marks]))
    assert np.hypot(*(found_mm[1] - found_mm[0])) == pytest.approx(20, rel=0.002)
    true_px = view.surface.to_px(np.array([[-10.0, 0.0], [10.0, 0.0]]))
    assert np.abs(np.array([m.corners_px[0] for m in scale.marks]) - true_px).max() < 0.1


def test_one_dot_is_refused():
    photo = render(
        View(size_px=(500, 300)), lambda x, y: np.where(np.hypot(x, y) < 2, INK, PAPER), fine=2
    )
    with pytest.raises(ScaleError, match=r"1 dot seen"):
        find_scale(photo, ScaleRequest(kind="two_dots", size_mm=20.0))
