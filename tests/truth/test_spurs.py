"""Branches that hang on a stroke, unfollowed by the search: drawn with known courses."""

import numpy as np
import pytest

from damagescore.damage import find_cracks
from damagescore.damage.fork import _spur
from damagescore.damage.spurs import spurs_beside
from damagescore.damage.surround import surround_of
from tests.crack_drawing import (
    MM_PER_PX,
    draw,
    edge_of,
    length_of,
    scale_of,
    straight,
    tapered,
)

SHAPE = (240, 700)
EDGE = edge_of(SHAPE)
ALONG = np.array([1.0, 0.0])
MAIN = straight((350, 120), 6, 400, points=120)
PX_PER_MM = 25.0


def around_of(photo):
    return surround_of(photo.grey, MAIN, EDGE.judged, px_per_mm=PX_PER_MM)


def branch(degrees=20, length_px=75):
    """A fine straight line from the middle of the main stroke."""
    heading = np.radians(6 + degrees)
    way = np.array([np.cos(heading), np.sin(heading)])
    return MAIN[60] + np.linspace(0, length_px, 60)[:, None] * way


@pytest.mark.parametrize("degrees", [15, 25, -20])
def test_a_fine_branch_of_a_broad_stroke_is_seen_and_followed_to_its_tip(degrees):
    fine = branch(degrees)
    photo = draw([(MAIN, 6.0), (fine, 2.5)], shape=SHAPE, grain=0.04, edge=EDGE)
    around = around_of(photo)
    (course,) = spurs_beside(around, [MAIN], along=ALONG)
    drawn = _spur(around, course, [MAIN])
    assert drawn is not None
    # Nothing shows where it begins inside the main stroke, which is 6 px wide.
    hidden = 3 / np.sin(np.radians(abs(degrees)))
    assert length_of(drawn) == pytest.approx(length_of(fine), abs=hidden + 0.1 * PX_PER_MM)
    assert np.hypot(*(drawn[-1] - fine[-1])) < 0.1 * PX_PER_MM  # a tip is known to its look
    assert np.min(np.hypot(*(MAIN - drawn[0]).T)) < 1.0  # it starts on its stroke


@pytest.mark.parametrize("seed", range(6))
def test_grain_beside_a_lone_stroke_is_no_branch(seed):
    lines = [(MAIN, tapered(len(MAIN), 7.0))]
    lone = draw(lines, shape=SHAPE, grain=0.08, noise=4, seed=seed, edge=EDGE)
    assert spurs_beside(around_of(lone), [MAIN], along=ALONG) == []


def test_what_is_drawn_is_not_seen_again():
    fine = branch()
    photo = draw([(MAIN, 6.0), (fine, 2.5)], shape=SHAPE, grain=0.04, edge=EDGE)
    assert spurs_beside(around_of(photo), [MAIN, fine], along=ALONG) == []


def test_a_mould_line_that_meets_the_stroke_is_no_branch():
    mould = straight((350, 128), 0, 600)
    photo = draw([(MAIN, 6.0), (mould, 2.5)], shape=SHAPE, grain=0.02, edge=EDGE)
    assert spurs_beside(around_of(photo), [MAIN], along=ALONG) == []


def test_a_far_darker_line_is_another_crack():
    other = branch(30, 90)
    photo = draw([(MAIN, 1.5), (other, 6.0)], shape=SHAPE, edge=EDGE)
    assert spurs_beside(around_of(photo), [MAIN], along=ALONG) == []


def test_a_branch_is_counted_once_whoever_sees_it():
    fine = branch(15)
    photo = draw([(MAIN, 6.0), (fine, 2.5)], shape=SHAPE, grain=0.04, edge=EDGE)
    (found,) = find_cracks(photo, EDGE, scale_of())
    true_mm = (length_of(MAIN) + length_of(fine)) * MM_PER_PX
    # Where it leaves the broad stroke is hidden for 12 px, half a millimetre.
    assert found.quantities["length"].value == pytest.approx(true_mm, abs=0.6)
