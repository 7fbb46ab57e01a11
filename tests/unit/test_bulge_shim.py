"""Where drawn shims end by all their rows together."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from damagescore.damage.bulge_shim import BESIDE_PX, _change_point

REACH = 15


def _strip(rng, *, end, rows=20, step=0.0, streaks=0.0, grain=0.0, noise=1.0, blur=1.0):
    """Colours (N, W, 3) of a shim that ends `end` pixels from the middle before a background.

    It differs from that in mean by `step`, has a level of its own in each row and a grain.
    """
    width = 2 * (REACH + BESIDE_PX) + 1
    x = np.arange(width) - width // 2
    shim = step + streaks * rng.normal(size=(rows, 1)) + grain * rng.normal(size=(rows, width))
    grey = 150.0 + np.where(x[None] <= end, shim, 0.0)
    grey = gaussian_filter1d(grey, blur, axis=1)
    return grey[..., None] + noise * rng.normal(size=(rows, width, 3))


@pytest.mark.parametrize("end", [-8, 0, 9])
@pytest.mark.parametrize(
    "unlike",
    [{"step": 6.0}, {"streaks": 8.0}, {"grain": 12.0}],
    ids=["step", "streaks", "grain"],
)
def test_an_end_is_found_by_whatever_differs(end, unlike):
    rng = np.random.default_rng(2)
    found, claimed = np.array(
        [_change_point(_strip(rng, end=end, **unlike), REACH) for _ in range(20)]
    ).T
    # The blur of one pixel counts as part, and grain fades in it.
    assert np.abs(found - end).max() < 2.5
    assert np.median(np.abs(found - end)) < 1.5
    assert np.all(np.abs(found - end) < 3 * np.hypot(claimed, 1.0))


def test_where_nothing_differs_no_place_is_claimed():
    rng = np.random.default_rng(3)
    _, claimed = np.array([_change_point(_strip(rng, end=0), REACH) for _ in range(20)]).T
    assert np.median(claimed) > REACH / 4  # any place: REACH / sqrt(3)


def test_a_stain_short_of_the_end_is_not_the_end():
    rng = np.random.default_rng(4)
    strip = _strip(rng, end=0, step=12.0)
    middle = strip.shape[1] // 2
    strip[3:14, middle - 12 : middle - 6] -= 80.0  # rust, six pixels inside
    place, claimed = _change_point(strip, REACH)
    assert abs(place) < 1.5
    assert claimed < 2.0
