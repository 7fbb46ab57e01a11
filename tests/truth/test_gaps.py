"""Suggested links across a covered stretch of a crack, on drawn rubber with known content."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from damagescore.damage.crack import search_cracks
from damagescore.damage.links import apart_at, joined_lines
from damagescore.joined import with_joined
from damagescore.measurement import Measurement
from damagescore.quality import Quality
from tests.crack_drawing import (
    MM_PER_PX,
    draw,
    edge_of,
    length_of,
    scale_of,
    tapered,
    wandering,
)

SHAPE = (200, 700)
EDGE = edge_of(SHAPE)


def covered(seed, *, width_px):
    """A crack of 14 mm with a stroke as of chalk across it, and its length in mm."""
    line = wandering(np.random.default_rng(seed), start=(150, 100), length_px=350.0)
    photo = draw(
        [(line, tapered(len(line), 6.0))], shape=SHAPE, edge=EDGE, grain=0.08, seed=seed
    )
    x, y = line[len(line) // 2]
    grey = photo.grey.copy()
    ends = [(round(x - 8), round(y - 45)), (round(x + 8), round(y + 45))]
    cv2.line(grey, ends[0], ends[1], 160.0, width_px, cv2.LINE_AA)
    return replace(photo, grey=grey), length_of(line) * MM_PER_PX


def searched(photo):
    findings, links = search_cracks(photo, EDGE, scale_of())
    facts = {"path": "x.png", "sha256": photo.sha256, "width": SHAPE[1], "height": SHAPE[0]}
    return Measurement(
        photo=facts, view="face", scale=scale_of(), quality=Quality(usable=True, checks=()),
        edge=EDGE, findings=findings, totals={}, links=links,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(3))
def test_a_crack_under_a_stroke_is_suggested_as_one_and_measured_over_the_gap(seed):
    photo, length_mm = covered(seed, width_px=20)
    found = searched(photo)
    assert len(found.findings) == 2
    (link,) = found.links
    assert (link.first, link.second) == tuple(f.id for f in found.findings)
    assert link.chance > 0.5
    # The stroke is 20 px wide and slanted; a tip may stop a little before it.
    assert 20 * MM_PER_PX - 0.1 < link.gap_mm < 20 * MM_PER_PX + 0.6
    joined = with_joined(photo, found, link.id)
    (whole,) = joined.findings
    length = whole.quantities["length"]
    assert abs(length.value - length_mm) < 1.96 * length.u
    assert length.value == pytest.approx(length_mm, abs=0.35)  # two tips and the hidden way
    budget = {c.source: c.u for c in length.budget}
    # Uniform from the straight way to half as far again.
    assert budget["bridged gap"] == pytest.approx(0.5 * link.gap_mm / 12**0.5, rel=0.05)
    assert joined.totals["crack_length"].value == pytest.approx(length.value)
    assert len(apart_at(whole.lines_px, whole.bridged_px)[0]) == 2


def test_lines_that_do_not_point_at_each_other_are_left_alone():
    first = np.column_stack([np.linspace(150, 300, 151), np.full(151, 70.0)])
    second = np.column_stack([np.linspace(320, 470, 151), np.full(151, 130.0)])
    photo = draw(
        [(x, tapered(151, 6.0)) for x in (first, second)], shape=SHAPE, edge=EDGE, grain=0.08
    )
    found = searched(photo)
    assert len(found.findings) == 2
    assert found.links == ()


def test_lines_are_joined_end_to_end_whatever_their_direction():
    left, right = np.array([[0.0, 0.0], [10.0, 0.0]]), np.array([[14.0, 0.0], [30.0, 0.0]])
    way = np.array([[10.0, 0.0], [12.0, 0.0], [14.0, 0.0]])
    for a in (left, left[::-1]):
        for b in (right, right[::-1]):
            (line,) = joined_lines([a], [b], way)
            assert line[:, 0].tolist() == [0, 10, 12, 14, 30]
    twig = np.array([[5.0, 0.0], [8.0, 6.0]])
    main, branch = joined_lines([right], [left, twig], way[::-1])
    assert np.ptp(main[:, 0]) == 30
    assert branch.tolist() == twig.tolist()


def test_a_branch_that_goes_on_is_lengthened():
    main, twig = np.array([[0.0, 0.0], [30.0, 0.0]]), np.array([[10.0, 0.0], [16.0, 6.0]])
    beyond = np.array([[20.0, 10.0], [30.0, 20.0]])
    way = np.array([[16.0, 6.0], [18.0, 8.0], [20.0, 10.0]])
    for lines in (
        joined_lines([main, twig], [beyond], way),
        joined_lines([beyond], [main, twig], way[::-1]),
    ):
        assert [line.tolist() for line in lines] == [
            main.tolist(),
            [[10, 0], [16, 6], [18, 8], [20, 10], [30, 20]],
        ]
