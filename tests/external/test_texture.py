"""Crumbling on photographed textures instead of drawn ones.

Source: scikit-image 0.26, `skimage.data` (files that come with the package): "gravel" and
"grass" are photographs of real surfaces from a CC0 texture collection, "moon" a photograph
of a smooth one with few features (see README.txt beside the package's data; seen 2026-11).
They are laid into sound rubber as a stand-in for crumbled relief: real grains with real gaps,
of which the area laid in is exactly known. Nothing was tuned on them.
"""

import cv2
import numpy as np
import pytest
from skimage import data

from benchmarks.open_textures import (
    RUBBER_GREY,
    false_areas,
    found_in,
    laid_in,
    mask_of,
    outline,
    rubber,
    trial_of,
)


@pytest.mark.parametrize("texture", ["gravel", "grass"])
def test_laid_in_areas_overlaps_and_intervals(texture: str) -> None:
    trials = [trial_of(texture, half, seed=k) for k, half in enumerate((4.0, 6.0, 9.0, 12.0))]
    errors = np.abs([t.error for t in trials])
    assert np.median(errors) <= 0.05  # the aim for photos nobody tuned on
    assert errors.max() <= 0.12  # a border shifted by 0.1 mm around the smallest patch
    assert min(t.overlap for t in trials) >= 0.85  # the aim likewise
    assert all(t.inside_95 for t in trials)  # eight draws: none out is expected with 66 %


def test_the_finding_lies_in_the_layer_that_was_filled() -> None:
    (finding,) = found_in(laid_in(data.gravel(), outline(7.0), deep=True))
    assert finding.layer == 2
    assert finding.strength > 0.8


def test_smooth_scenes_and_stains_are_not_crumbling() -> None:
    """Smooth rubber, a smooth photograph, and each texture without its grains."""
    assert false_areas() == 0


def test_bricks_with_straight_joints_are_not_grains() -> None:
    """Common practice, no source: crumbling is granular; blocks of 5 mm are no grains."""
    assert trial_of("brick", 9.0).area is None


def test_bright_gravel_is_dust_not_lost_rubber() -> None:
    """Brighter than rubber throughout: something lying on it."""
    gravel = data.gravel().astype(float)
    bright = gravel / gravel.min().clip(40) + 1
    inside = mask_of(outline(8.0))
    grey = rubber()
    tile = np.tile(bright, (1, 2))[: grey.shape[0], : grey.shape[1]]
    grey[inside] = np.clip(RUBBER_GREY * tile, RUBBER_GREY + 4, 240)[inside]
    assert found_in(grey) == ()


def test_shadow_over_a_patch_changes_its_area_little() -> None:
    """Half of the photo at 0.5 of the light: texture is judged against the local level."""
    polygon = outline(9.0)
    grey = laid_in(data.gravel(), polygon, deep=True)
    fall = 0.75 + 0.25 * np.tanh((np.arange(grey.shape[1]) - 450) / 40)
    (finding,) = found_in(grey * fall)
    assert finding.polygon_px is not None
    laid, found = mask_of(polygon), mask_of(finding.polygon_px)
    # A cast shadow this soft moves the border by less than a grain (0.3 mm).
    assert (laid & found).sum() / (laid | found).sum() > 0.8


def test_blurred_gravel_is_no_more_sure_than_sharp_gravel() -> None:
    """Out of focus by half a grain there is less to see: either nothing, or doubt."""
    grey = laid_in(data.gravel(), outline(9.0), deep=True)
    (sharp,) = found_in(grey)
    blurred = found_in(cv2.GaussianBlur(grey, (0, 0), 3.0))
    assert all(f.quantities["area"].u > sharp.quantities["area"].u * 0.9 for f in blurred)
