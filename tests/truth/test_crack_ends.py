"""Where a crack ends: lengths known by construction, with things that hide or feign an end."""

import cv2
import numpy as np
import pytest

from damagescore.damage import find_cracks
from damagescore.damage.network import networks
from tests.crack_drawing import (
    MM_PER_PX,
    RUBBER_LIGHT,
    code_of,
    coverage,
    draw,
    edge_of,
    photo_of,
    scale_of,
    straight,
    tapered,
)

SHAPE = (200, 640)
EDGE = edge_of(SHAPE)
LENGTH_PX = 300


def longest(photo):
    found = find_cracks(photo, EDGE, scale_of())
    return max(f.quantities["length"].value for f in found)


def test_a_thin_hair_across_a_crack_does_not_end_it():
    line, widths = straight((320, 100), 4, LENGTH_PX), tapered(60, 6.0)
    light = np.full(SHAPE, RUBBER_LIGHT) * (1 - 0.97 * coverage(SHAPE, line, widths))
    hair = coverage(SHAPE, straight((420, 100), 70, 120), np.full(60, 3.0))
    light = cv2.GaussianBlur(light * (1 - hair) + 0.25 * hair, (0, 0), 0.8)
    grain = np.random.default_rng(4).normal(0, 1.5, SHAPE)
    photo = photo_of(np.clip(code_of(light) + grain, 0, 255))
    # Both tips taper to 0.05 mm: each may fade 0.15 mm early.
    assert longest(photo) == pytest.approx(LENGTH_PX * MM_PER_PX, abs=0.3)


def test_a_mould_line_that_meets_a_crack_is_not_counted():
    crack = straight((320, 100), 12, LENGTH_PX)
    mould = coverage(SHAPE, np.column_stack([np.arange(10.0, 630), np.full(620, 125.0)]), 3.0)
    light = np.full(SHAPE, RUBBER_LIGHT) * (1 - 0.45 * mould)
    photo = draw([(crack, tapered(60, 6.0))], shape=SHAPE, edge=EDGE, light=light, grain=0.04)
    # Followed to the next end of the photo the line would add 5 mm or more.
    assert longest(photo) == pytest.approx(LENGTH_PX * MM_PER_PX, abs=0.6)


def test_a_loop_is_counted_all_around():
    """A square ring of side 40 px on a straight stem of 100 px, diagonals not cut."""
    ring = np.zeros((80, 200), bool)
    ring[20, 100:141] = ring[60, 100:141] = ring[20:61, 100] = ring[20:61, 140] = True
    ring[40, 10:100] = True
    (paths,) = networks(ring, shortest_branch_px=10)
    total = sum(float(np.hypot(*np.diff(x, axis=0).T).sum()) for x in paths.lines)
    # 160 px of ring, 90 of stem; a corner taken diagonally spares 0.6 px.
    assert total == pytest.approx(250, abs=4)


def test_rubber_that_fills_the_photo_has_no_border_to_compare_with():
    edge = edge_of(SHAPE, top=0.0, bottom=SHAPE[0] - 1.0, shims=False)
    drawn = [(straight((320, 100), 4, LENGTH_PX), tapered(60, 6.0))]
    (found,) = find_cracks(draw(drawn, shape=SHAPE, edge=edge), edge, scale_of())
    # Both tips taper to 0.05 mm: each may fade 0.15 mm early.
    assert found.quantities["length"].value == pytest.approx(LENGTH_PX * MM_PER_PX, abs=0.3)


def gap_below_a_shim(seed, *, shadow):
    """A bond gap that tapers to 0.05 mm below a bright shim, and a shadow all along it."""
    rng = np.random.default_rng(seed)
    y = EDGE.rubber[-1].upper_px[0, 1]
    line, widths = straight((320, y + 3.5), 0, LENGTH_PX), tapered(60, 5.0)
    light = np.full(SHAPE, RUBBER_LIGHT)
    light[: round(y)] = 0.5
    light[round(y) : round(y) + 3] *= 1 - shadow
    light = cv2.GaussianBlur(light * (1 - 0.97 * coverage(SHAPE, line, widths)), (0, 0), 0.8)
    return photo_of(np.clip(code_of(light) + rng.normal(0, 1.5, SHAPE), 0, 255))


@pytest.mark.parametrize("shadow", [0.0, 0.2, 0.35])
def test_a_bond_gap_ends_where_its_border_is_as_it_is_elsewhere(shadow):
    for seed in range(3):
        (found,) = find_cracks(gap_below_a_shim(seed, shadow=shadow), EDGE, scale_of())
        assert found.kind == "bond_gap"
        # Both tips taper to 0.05 mm beside a gleam: each may fade 0.25 mm early.
        assert found.quantities["length"].value == pytest.approx(LENGTH_PX * MM_PER_PX, abs=0.5)
