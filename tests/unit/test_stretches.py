"""Which stretches of a network stay with its crack: skeletons drawn by hand."""

import numpy as np
import pytest

from damagescore.damage.gates import GATES
from damagescore.damage.ridge import Ridge
from damagescore.damage.stretches import without_weak

SHAPE = (120, 500)
PX_PER_MM = 25.0
PLAIN, WEAK = (10.0, 0.9), (3.5, 0.3)
"""Answer of the line filter and darkness: of a plain crack, and of the surface's lines."""


def row(first, last, *, at=60):
    columns = np.arange(first, last)
    return np.full(len(columns), at), columns


def zigzag(first, count):
    """One column on every fifth step: extent a fifth of the length."""
    steps = np.arange(count)
    swing = np.abs((steps + 10) % 40 - 20) - 10
    return 60 + swing, first + steps // 5


SURFACE = (5.5, 0.5)
"""The surface's own lines where they are as plain as a line must be to begin."""


def kept(*runs, others=(), look=(0.0, 0.0)):
    """The skeleton left of runs of (places, (answer, darkness)); `look` is that of others."""
    skeleton, z, core = (np.zeros(SHAPE, t) for t in (bool, np.float32, np.float32))
    for places, (answer, darkness) in runs:
        skeleton[places], z[places], core[places] = True, answer, darkness
    every = skeleton.copy()
    for places in others:
        every[places], z[places], core[places] = True, *look
    ridge = Ridge(dark=core, shade=core, z=z, contrast=core, noise=0.1)
    return skeleton, without_weak(
        skeleton, ridge, core, every=every, gates=GATES, px_per_mm=PX_PER_MM
    )


def specks():
    """Thirty short lines all over 96 mm²: a surface with a drawing of its own."""
    return [row(10 + 48 * k, 30 + 48 * k, at=at) for k in range(10) for at in (10, 30, 100)]


def test_a_plain_crack_stays_whole():
    skeleton, left = kept((row(50, 250), PLAIN), others=specks())
    np.testing.assert_array_equal(left, skeleton)


@pytest.mark.parametrize("busy", [False, True])
def test_a_straight_weak_tail_goes_only_where_the_surface_is_full_of_lines(busy):
    skeleton, left = kept(
        (row(50, 250), PLAIN), (row(250, 350), WEAK), others=specks() if busy else ()
    )
    # The mean over 1 mm blurs where the plain part ends by half of that.
    assert left[60, 300:350].any() != busy
    assert left[60, 50:240].all()
    assert busy or (left == skeleton).all()


def test_a_weak_tail_that_wanders_is_left_out():
    skeleton, left = kept((row(50, 250), PLAIN), (zigzag(250, 150), WEAK))
    assert not left[:, 270:].any()
    assert left[60, 50:240].all()
    assert skeleton[:, 270:].any()


def test_a_short_weak_bridge_between_plain_parts_stays():
    skeleton, left = kept(
        (row(50, 200), PLAIN), (row(200, 230), WEAK), (row(230, 400), PLAIN), others=specks()
    )
    np.testing.assert_array_equal(left, skeleton)


def test_what_looks_like_the_surface_is_parted_from_a_crack_that_stands_out_of_it():
    runs = (row(50, 250), PLAIN), (row(250, 450), SURFACE)
    skeleton, left = kept(*runs, others=specks(), look=SURFACE)
    assert left[60, 50:240].all()
    # The mean over 1 mm blurs the turn by half of that; 0.3 mm are parted.
    assert not left[60, 240:275].all()
    assert left[60, 280:450].all()
    _, whole = kept(*runs, look=SURFACE)
    np.testing.assert_array_equal(whole, skeleton)  # a smooth surface has no lines of its own


def test_a_faint_end_of_a_long_crack_stays_on_a_rough_surface():
    skeleton, left = kept(
        (row(50, 300), PLAIN), (row(300, 360), SURFACE), others=specks(), look=SURFACE
    )
    np.testing.assert_array_equal(left, skeleton)
