"""What enlarging, turning and brightening a photo must do to its scale."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.scale import ScaleRequest, find_scale
from tests.scale_renders import View, photo_of_grey, photo_of_light, render, squares_print

REQUEST = ScaleRequest(kind="squares", size_mm=10.0)
CARD = squares_print(ids=(3, 8), centres_mm=((-10.0, 1.0), (9.0, 0.0)))


@pytest.fixture(scope="module")
def photo():
    return render(View(tilt_x_deg=6, turn_deg=4, size_px=(700, 380)), CARD, fine=4, blur_px=1.0)


def test_enlarging_twice_halves_mm_per_px(photo):
    base = find_scale(photo, REQUEST)
    light = (photo.grey / 255.0) ** 2.2
    grown = np.kron(light, np.ones((2, 2)))
    twice = find_scale(photo_of_light(cv2.GaussianBlur(grown, (0, 0), 1.0)), REQUEST)
    assert twice.mm_per_px == pytest.approx(base.mm_per_px / 2, rel=0.001)


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_quarter_turns_change_nothing(photo, quarter_turns):
    base = find_scale(photo, REQUEST)
    level = np.ascontiguousarray(np.rot90(photo.grey.astype(np.uint8), quarter_turns))
    turned = find_scale(photo_of_grey(level), REQUEST)
    assert turned.mm_per_px == pytest.approx(base.mm_per_px, rel=2e-4)  # detection starts anew
    assert turned.tilt_deg == pytest.approx(base.tilt_deg, abs=0.3)


@settings(max_examples=8, deadline=None)
@given(gain=st.floats(0.3, 1.2))
def test_brightness_changes_nothing(gain):
    view = View(turn_deg=4, size_px=(640, 340))
    light = (render(view, CARD, fine=3).grey.astype(float) / 255) ** 2.2
    dim = find_scale(photo_of_light(gain * light), REQUEST)
    assert dim.mm_per_px == pytest.approx(view.mm_per_px, rel=0.001)


@settings(max_examples=8, deadline=None)
@given(size_mm=st.floats(1, 50))
def test_told_size_scales_everything(size_mm):
    view = View(turn_deg=4, size_px=(640, 340))
    photo = render(view, CARD, fine=2)
    scale = find_scale(photo, ScaleRequest(kind="squares", size_mm=size_mm))
    assert scale.mm_per_px == pytest.approx(view.mm_per_px * size_mm / 10, rel=0.002)


def test_dictionary_round_trip(photo):
    scale = find_scale(photo, REQUEST)
    again = type(scale).from_dict(scale.to_dict())
    assert again.mm_per_px == scale.mm_per_px
    assert again.budget == scale.budget
    assert again.to_dict() == scale.to_dict()
