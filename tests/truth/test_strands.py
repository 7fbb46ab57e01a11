"""Strands that run close to a stroke: drawn with known courses."""

import numpy as np
import pytest

from damagescore.damage import find_cracks
from damagescore.damage.strands import strands_beside
from tests.crack_drawing import MM_PER_PX, draw, edge_of, length_of, scale_of, straight, tapered

SHAPE = (240, 700)
EDGE = edge_of(SHAPE)
ALONG = np.array([1.0, 0.0])
MAIN = straight((350, 120), 6, 400, points=120)


def loop(apart_px, length_px=120):
    """A side run that leaves the main line, keeps `apart_px` off it, and comes back."""
    first = 40
    count = round(length_px / length_of(MAIN) * len(MAIN))
    part = MAIN[first : first + count]
    rise = apart_px * np.clip(4 * np.sin(np.pi * np.linspace(0, 1, count)), 0, 1)
    return part + np.column_stack([np.zeros(count), rise])


def test_a_loop_beside_the_main_crack_is_counted():
    side = loop(9.0)
    lines = [(MAIN, tapered(len(MAIN), 6.0)), (side, 2.5)]
    (found,) = find_cracks(draw(lines, shape=SHAPE, edge=EDGE, grain=0.04), EDGE, scale_of())
    true_mm = (length_of(MAIN) + length_of(side)) * MM_PER_PX
    # The loop is a fifth of the whole; where it leaves its stroke is known to 0.3 mm a side.
    assert found.quantities["length"].value == pytest.approx(true_mm, abs=0.7)


@pytest.mark.parametrize("apart_px", [8.0, 11.0])
def test_the_course_of_a_strand_is_that_of_its_middle(apart_px):
    side = loop(apart_px)
    photo = draw([(MAIN, 5.0), (side, 2.5)], shape=SHAPE)
    (course,) = strands_beside(photo.grey, MAIN, [], along=ALONG, px_per_mm=25.0)
    away = np.interp(course[:, 0], side[:, 0], side[:, 1]) - course[:, 1]
    assert np.abs(away).max() < 1.0  # offsets are whole steps of half a pixel, both blurred
    # Seen where a valley parts it: all but the two ends that rise from the stroke.
    assert length_of(course) == pytest.approx(length_of(side), rel=0.35)


@pytest.mark.parametrize("seed", range(4))
def test_a_lone_stroke_has_no_strands(seed):
    photo = draw([(MAIN, tapered(len(MAIN), 7.0))], shape=SHAPE, grain=0.08, noise=4, seed=seed)
    assert strands_beside(photo.grey, MAIN, [], along=ALONG, px_per_mm=25.0) == []


def test_what_is_drawn_or_a_mould_line_is_no_strand():
    side = loop(10.0)
    photo = draw([(MAIN, 5.0), (side, 2.5)], shape=SHAPE)
    assert strands_beside(photo.grey, MAIN, [side], along=ALONG, px_per_mm=25.0) == []
    level = straight((350, 120), 0, 400, points=120)
    mould = straight((350, 129), 0, 250)
    photo = draw([(level, 5.0), (mould, 2.5)], shape=SHAPE)
    assert strands_beside(photo.grey, level, [], along=ALONG, px_per_mm=25.0) == []
