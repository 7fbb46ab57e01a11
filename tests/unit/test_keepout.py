"""What a scale mark covers is kept out, also where its body looks like what lies behind it."""

from dataclasses import replace

import numpy as np
import pytest

from damagescore.edge.keepout import keep_out_areas
from damagescore.photo.outline import inside_outline
from damagescore.scale.record import Mark
from tests.conftest import plain_scale

FIRST, LAST, LONG = 120, 280, 50
"""Columns of the first and last graduation, their length in rows."""


@pytest.mark.parametrize("downwards", [True, False])
def test_graduations_of_a_rule_like_its_background_are_kept_out(downwards: bool) -> None:
    generator = np.random.default_rng(3)
    channels = generator.normal(0, 0.02, (300, 400, 3)).astype(np.float32)
    # Blotches of glare: no piece of one tone is large and solid enough for a card.
    blotches = generator.choice([0.0, 0.7, 1.4], (50, 67))
    channels[..., 0] += np.kron(blotches, np.ones((6, 6)))[:300, :400]
    side = 1 if downwards else -1
    reach = slice(150, 150 + LONG) if downwards else slice(150 - LONG, 150)
    for column in range(FIRST, LAST + 1, 8):
        channels[reach, column : column + 2, 0] -= 1.5
    ends = np.array([[FIRST, 150.0], [LAST, 150.0]])
    mark = Mark(kind="rule", id=None, size_mm=20.0, corners_px=ends, mm_per_px=0.125)
    scale = replace(plain_scale(0.125), method="rule", marks=(mark,))
    areas = keep_out_areas(channels, 1.0, scale)
    middles = np.array([[x, 150 + side * LONG / 2] for x in range(FIRST, LAST + 1, 8)])
    beyond = middles - [0, 2 * side * LONG]
    assert any(inside_outline(middles, area).all() for area in areas)
    assert not any(inside_outline(beyond, area).any() for area in areas)


def test_a_plate_like_the_rule_before_it_is_not_kept_out_with_it() -> None:
    generator = np.random.default_rng(4)
    channels = generator.normal(0, 0.02, (300, 400, 3)).astype(np.float32)
    channels[:120, :, 0] -= 1.5  # rubber above, then the plate that the rule stands on
    for column in range(FIRST, LAST + 1, 8):
        channels[150 : 150 + LONG, column : column + 2, 0] -= 1.5
    ends = np.array([[FIRST, 150.0], [LAST, 150.0]])
    mark = Mark(kind="rule", id=None, size_mm=20.0, corners_px=ends, mm_per_px=0.125)
    scale = replace(plain_scale(0.125), method="rule", marks=(mark,))
    areas = keep_out_areas(channels, 1.0, scale)
    assert areas
    # 3 % of the graduations' length, the rim, and rounding: the plate above stays free
    assert min(a[:, 1].min() for a in areas) > 140.0
    middles = np.array([[x, 150 + LONG / 2] for x in range(FIRST, LAST + 1, 8)])
    assert any(inside_outline(middles, area).all() for area in areas)
