"""What of a crack a photo can show, by the scenes' own truth."""

import numpy as np
import pytest

from damagescore.scenes.reading import seen_apart


def crack(points, width, *, faint):
    points = np.asarray(points, float)
    return {
        "length_mm": float(np.hypot(*np.diff(points, axis=0).T).sum()), "faint": faint,
        "width_max_mm": width, "polylines_mm": [points.tolist()],
        "polylines_px": [(10 * points).tolist()], "widths_mm": [[width] * len(points)],
    }  # fmt: skip


def level(first, last, y):
    return [(x, y) for x in np.linspace(first, last, 1 + round(20 * (last - first)))]


DARK = crack(level(0, 20, 0.0), 0.6, faint=False)


def test_a_pale_crack_counts_only_outside_a_dark_one():
    # 5 mm in the clear, then along inside the dark one.
    pale = crack([*level(-5, 0, 0.1), *level(0.05, 10, 0.1)], 0.1, faint=True)
    dark, left = seen_apart([DARK, pale])
    assert dark is DARK
    # To where its middle meets the rounded start of the opening, and on to its centre line.
    assert left["length_mm"] == pytest.approx(5.0, abs=0.15)  # half the opening's width
    for run, px in zip(left["polylines_mm"], left["polylines_px"], strict=True):
        np.testing.assert_allclose(px, 10 * np.asarray(run))


def test_a_crossing_crack_goes_on_beyond_the_opening_that_it_crosses():
    across = crack([(x / 3 + 5, x) for x in np.linspace(-3, 3, 121)], 0.1, faint=True)
    _, left = seen_apart([DARK, across])
    assert left["branches"] == 1
    # Both runs reach to the centre line: nothing is lost but what is no longer slanted.
    assert left["length_mm"] == pytest.approx(across["length_mm"], rel=0.02)


def test_what_lies_clear_stays_as_it_is_and_what_is_hidden_is_left_out():
    clear = crack(level(0, 8, 3.0), 0.1, faint=True)
    hidden = crack(level(4, 9, 0.05), 0.1, faint=True)
    kept = seen_apart([clear, DARK, hidden])
    assert kept == [clear, DARK]
    assert seen_apart([hidden]) == [hidden]
