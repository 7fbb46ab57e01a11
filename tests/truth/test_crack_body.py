"""The outline of dark cracks: drawn with known courses, loops and branches."""

import numpy as np
import pytest

from damagescore.damage import find_cracks
from damagescore.damage.body import body_of
from damagescore.damage.surround import surround_of
from tests.crack_drawing import (
    MM_PER_PX,
    draw,
    edge_of,
    length_of,
    photo_of,
    scale_of,
    straight,
    tapered,
)

SHAPE = (240, 700)
EDGE = edge_of(SHAPE)
MAIN = straight((350, 120), 6, 400, points=120)


def body(photo, *rough, others=()):
    around = surround_of(photo.grey, np.vstack(rough), EDGE.judged, px_per_mm=1 / MM_PER_PX)
    return body_of(around, list(rough), step_px=1.0, others=others)


def eye(apart_px, length_px=110, first=40):
    """A side run that leaves the main line and comes back to it, and their open eye."""
    count = round(length_px / length_of(MAIN) * len(MAIN))
    part = MAIN[first : first + count]
    rise = apart_px * np.clip(3 * np.sin(np.pi * np.linspace(0, 1, count)), 0, 1)
    return part + np.column_stack([np.zeros(count), rise])


@pytest.mark.parametrize("apart_px", [10.0, 16.0])
def test_an_eye_parts_two_strands_that_the_search_saw_as_one(apart_px):
    side = eye(apart_px)
    lines = [(MAIN, tapered(len(MAIN), 6.0)), (side, 3.0)]
    photo = draw(lines, shape=SHAPE, edge=EDGE, grain=0.04)
    seen = body(photo, MAIN)
    assert len(seen.lines) == 2
    (found,) = find_cracks(photo, EDGE, scale_of())
    true_mm = (length_of(MAIN) + length_of(side)) * MM_PER_PX
    # Where the side run leaves its stroke is known to 0.3 mm a side.
    assert found.quantities["length"].value == pytest.approx(true_mm, abs=0.6)


def test_a_wide_stroke_is_one_line_along_its_middle():
    photo = draw(
        [(MAIN, tapered(len(MAIN), 16.0))], shape=SHAPE, edge=EDGE, grain=0.08, noise=3
    )
    (found,) = find_cracks(photo, EDGE, scale_of())
    (line,) = found.lines_px
    middle = np.interp(line[:, 0], *MAIN.T)
    inside = (line[:, 0] > MAIN[0, 0] + 20) & (line[:, 0] < MAIN[-1, 0] - 20)
    assert np.abs(line[:, 1] - middle)[inside].max() < 1.0  # an outline of whole pixels


def test_a_short_branch_that_stands_out_of_a_wide_stroke_is_counted():
    foot = MAIN[70]
    branch = foot + np.linspace(0, 1, 20)[:, None] * np.array([24.0, 20.0])
    lines = [(MAIN, tapered(len(MAIN), 12.0)), (branch, 4.0)]
    photo = draw(lines, shape=SHAPE, edge=EDGE, grain=0.04)
    (found,) = find_cracks(photo, EDGE, scale_of())
    assert len(found.lines_px) == 2
    # A fork inside a stroke 12 px wide is known to half of it.
    assert found.quantities["length"].value == pytest.approx(
        (length_of(MAIN) + length_of(branch)) * MM_PER_PX, abs=0.3
    )


def test_dust_on_a_stroke_is_no_eye():
    photo = draw([(MAIN, 9.0)], shape=SHAPE, edge=EDGE)
    grey = photo.grey.copy()
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    grey[np.hypot(x - MAIN[60, 0], y - MAIN[60, 1]) < 3] = 180
    (found,) = find_cracks(photo_of(grey), EDGE, scale_of())
    assert len(found.lines_px) == 1


def test_a_pale_crack_has_no_outline():
    photo = draw([(MAIN, 3.0)], shape=SHAPE, edge=EDGE, darkness=0.4)
    assert body(photo, MAIN) is None


def test_what_lies_nearer_to_another_crack_is_its_own():
    other = MAIN + np.array([0.0, 14.0])
    photo = draw([(MAIN, 5.0), (other, 5.0)], shape=SHAPE, edge=EDGE)
    bridge = straight((350, 127), 90, 14)
    photo = draw([(MAIN, 5.0), (other, 5.0), (bridge, 4.0)], shape=SHAPE, edge=EDGE)
    alone, beside = body(photo, MAIN), body(photo, MAIN, others=[other])
    assert len(alone.lines) > 1
    assert sum(map(length_of, beside.lines)) < 1.05 * length_of(MAIN)  # half the bridge at most


def test_a_link_across_plain_rubber_between_two_branches_is_given_up():
    upper = MAIN[40] + np.linspace(0, 1, 30)[:, None] * np.array([90.0, -40.0])
    lower = MAIN[80] + np.linspace(0, 1, 20)[:, None] * np.array([20.0, -38.0])
    photo = draw([(MAIN, 6.0), (upper, 4.0), (lower, 4.0)], shape=SHAPE, edge=EDGE)
    joined = np.vstack([upper, lower[::-1]])  # the search took them for one
    lines = body(photo, MAIN, joined).lines
    assert len(lines) == 3
    true = sum(map(length_of, (MAIN, upper, lower)))
    assert sum(map(length_of, lines)) == pytest.approx(true, abs=14)  # three tips, two forks
