"""Layers drawn with a blur that grows along them: where it is too wide is known exactly."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from damagescore.damage.crumbling import search_crumbling
from damagescore.damage.out_of_focus import blurred_parts, readings_at_borders, sigma_of
from damagescore.edge import edge_from_curves
from damagescore.edge.record import Edge
from damagescore.photo.record import Photo
from damagescore.quality.rule import QualityRule
from damagescore.quality.sharpness import HALF_CONTRAST_PER_SIGMA
from damagescore.scale.record import Scale
from tests.edge_renders import photo_of, scale_of

MM_PER_PX = 0.04
SHAPE = (420, 1500)
BORDERS = np.array([60.0, 130.0, 142.0, 212.0, 224.0, 294.0, 306.0, 376.0])
"""Rows of the borders from the top: four rubber layers of 70 px, shims of 12 px."""

LIMIT_PX = QualityRule().finest_width_mm.warn / HALF_CONTRAST_PER_SIGMA / MM_PER_PX


def drawn(first_px: float, last_px: float, *, noise: float = 1.0) -> tuple[Photo, Edge, Scale]:
    """A photo whose blur rises from its left to its right side, with its exact layers."""
    height, width = SHAPE
    sigma = np.linspace(first_px, last_px, width)
    rows = np.arange(height)[:, None]
    grey = np.full(SHAPE, 120.0)
    levels = [120.0, *([60.0, 165.0] * 4)[:7], 120.0]
    for border, before, after in zip(BORDERS, levels[:-1], levels[1:], strict=True):
        grey += (after - before) * ndtr((rows - border) / sigma)
    grey += np.random.default_rng(3).normal(0, noise, SHAPE)
    photo = photo_of(np.repeat(grey[..., None], 3, axis=2))
    scale = scale_of(MM_PER_PX, shape=SHAPE)
    x = np.arange(0.0, width, 12.0)
    curves = [np.column_stack([x, np.full_like(x, y)]) for y in BORDERS[::-1]]
    return photo, edge_from_curves(curves, scale, shape=SHAPE), scale


@pytest.mark.parametrize("bar_px", [0.0, 6.0, 15.0, 40.0])
@pytest.mark.parametrize("sigma_px", [0.8, 2.5, 7.0])
def test_the_blur_of_a_bar_follows_from_its_range_and_slope(bar_px, sigma_px):
    at = np.arange(-60.0, bar_px / 2 if bar_px else 60.0, 0.01)
    level = ndtr(at / sigma_px) - (ndtr((at - bar_px) / sigma_px) if bar_px else 0.0)
    ratio = (level.max() - level.min()) / np.gradient(level, 0.01).max()
    # 90 values of the table, a seventh of an octave apart, and straight lines between them
    assert sigma_of(np.array([ratio]), bar_px)[0] == pytest.approx(sigma_px, rel=0.01)


def test_the_finest_width_is_read_where_it_is():
    photo, edge, scale = drawn(1.0, 6.0)
    places = np.column_stack([np.arange(200.0, 1400.0, 100.0), np.full(12, 215.0)])
    read = readings_at_borders(photo, edge, scale).near(scale.surface.to_mm(places))
    true = HALF_CONTRAST_PER_SIGMA * MM_PER_PX * (1.0 + 5.0 * places[:, 0] / (SHAPE[1] - 1))
    # the smoothing of a pixel reads wide where the blur is small; the sharpest quarter of
    # places within 5 mm, where the blur changes by 0.4 px to either side, reads narrow
    assert np.all(np.abs(read / true - 1) < 0.15)


def test_a_blurred_side_is_told_from_where_it_is_too_wide():
    photo, edge, scale = drawn(1.0, 6.0)
    parts = blurred_parts(photo, edge, scale)
    assert set(parts) == {0, 2, 4, 6}
    begins = (LIMIT_PX - 1.0) / 5.0 * (SHAPE[1] - 1)
    for outlines in parts.values():
        assert len(outlines) == 1
        # 0.15 of the width read is 90 px of way, and stations are 25 px apart
        assert outlines[0][:, 0].min() == pytest.approx(begins, abs=115)
        assert outlines[0][:, 0].max() > 1460


@pytest.mark.parametrize("sigma_px", [0.8, 1.5])
def test_a_sharp_photo_has_no_such_part(sigma_px):
    assert blurred_parts(*drawn(sigma_px, sigma_px, noise=3.0)) == {}


def test_borders_too_faint_to_be_read_say_nothing():
    photo, edge, scale = drawn(1.0, 6.0)
    faint = (photo.rgb.astype(np.float64) - 110) / 20 + 110
    assert blurred_parts(photo_of(faint), edge, scale) == {}


def test_what_is_out_of_focus_is_unjudged_with_its_area():
    photo, edge, scale = drawn(1.0, 6.0)
    texture = np.random.default_rng(5).normal(0, 4, SHAPE).astype(np.float32)
    rough = replace(photo, grey=(photo.grey + texture).astype(np.float32))
    findings, unjudged = search_crumbling(rough, edge, scale)
    assert findings == ()
    blurred = [x for x in unjudged if x.reason == "out of focus"]
    assert {x.layer for x in blurred} == {0, 2, 4, 6}
    share = 1 - (LIMIT_PX - 1.0) / 5.0
    for part in blurred:
        # the place of its border as above, 115 px of 1500, and 25 px of smoothing
        assert part.area.value / (70 * 1500 * MM_PER_PX**2) == pytest.approx(share, abs=0.1)
