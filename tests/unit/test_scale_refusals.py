"""What cannot give a scale is refused with the reason and what to do."""

import numpy as np
import pytest

from damagescore.errors import ScaleError, UsageError
from damagescore.scale import ScaleRequest, find_scale
from tests.scale_renders import View, photo_of_grey, render, squares_print


def blank():
    return photo_of_grey(np.full((300, 400), 120, np.uint8))


@pytest.mark.parametrize(
    ("request_", "words"),
    [
        (ScaleRequest(), "No scale mark"),
        (ScaleRequest(kind="squares", size_mm=10.0), "No square mark"),
        (ScaleRequest(kind="rule", size_mm=1.0), "No row of rule graduations"),
        (ScaleRequest(kind="two_dots", size_mm=20.0), r"0 dots"),
    ],
)
def test_empty_photo(request_, words):
    with pytest.raises(ScaleError, match=words) as told:
        find_scale(blank(), request_)
    assert told.value.remedy


def test_squares_of_unknown_side_are_named():
    photo = render(View(size_px=(400, 400)), squares_print(ids=(3,)), fine=3)
    with pytest.raises(ScaleError, match="square mark") as told:
        find_scale(photo, ScaleRequest())
    assert "3" in told.value.message
    assert "give that side" in told.value.remedy


def test_points_outside_or_too_close_are_refused():
    for points in (((10.0, 10.0), (12.0, 10.0)), ((-5.0, 10.0), (300.0, 10.0))):
        with pytest.raises(ScaleError, match="px apart"):
            find_scale(blank(), ScaleRequest(kind="two_points", size_mm=5.0, points_px=points))


def test_impossible_standoff_is_refused():
    request = ScaleRequest(
        kind="two_points",
        size_mm=10.0,
        points_px=((10.0, 10.0), (300.0, 10.0)),
        standoff_mm=500.0,
    )
    with pytest.raises(ScaleError, match="500 mm does not fit"):
        find_scale(blank(), request)


@pytest.mark.parametrize("size_mm", [0.0, -1.0, float("nan"), 1e6])
def test_size_must_make_sense(size_mm):
    with pytest.raises(UsageError):
        ScaleRequest(kind="squares", size_mm=size_mm)


def test_size_must_be_given():
    with pytest.raises(UsageError, match="needs a size"):
        ScaleRequest(kind="rule")


def test_noise_is_no_rule():
    level = np.random.default_rng(5).integers(0, 255, (400, 600)).astype(np.uint8)
    with pytest.raises(ScaleError):
        find_scale(photo_of_grey(level), ScaleRequest(kind="rule", size_mm=1.0))
