"""Arcs on a circle against a circle of 7200 marks, each covered or not."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from damagescore.around.arcs import (
    apart_deg,
    complement,
    covers,
    difference,
    intersection,
    narrowed,
    total_deg,
    union,
    widened,
)

STEP = 0.05
MARKS = np.arange(0, 360, STEP) + STEP / 2

# Whole and half degrees: a mark in the middle of a step never lies on an end.
degrees = st.integers(0, 719).map(lambda n: n / 2)
arcs = st.lists(st.tuples(degrees, st.integers(0, 720).map(lambda n: n / 2)), max_size=6)


def covered(found: object) -> np.ndarray:
    marks = np.zeros(len(MARKS), dtype=bool)
    for start, extent in found:  # type: ignore[attr-defined]
        marks |= (MARKS - start) % 360 < extent
    return marks


@given(arcs)
def test_a_union_covers_the_same_marks_apart_from_each_other(some: list) -> None:
    joined = union(some)
    assert np.array_equal(covered(joined), covered(some))
    summed = sum(e for _, e in joined)
    assert abs(summed - covered(some).sum() * STEP) < 1e-6  # sums of binary fractions
    assert abs(total_deg(some) - summed) < 1e-9  # the same sum in another order


@given(arcs)
def test_what_is_left_and_what_is_covered_are_the_circle(some: list) -> None:
    left = complement(some)
    assert np.array_equal(covered(left), ~covered(some))
    assert abs(total_deg(left) + total_deg(some) - 360) < 1e-9  # sums of binary fractions


@given(arcs, arcs)
def test_common_and_different_parts(some: list, others: list) -> None:
    assert np.array_equal(covered(intersection(some, others)), covered(some) & covered(others))
    assert np.array_equal(covered(difference(some, others)), covered(some) & ~covered(others))


@given(arcs, st.integers(0, 719).map(lambda n: n / 2))
def test_turning_all_arcs_turns_the_union(some: list, by: float) -> None:
    turned = [((s + by) % 360, e) for s, e in some]
    assert abs(total_deg(turned) - total_deg(some)) < 1e-9  # sums of binary fractions


@given(degrees, st.integers(1, 700).map(lambda n: n / 2), st.integers(0, 40))
def test_wider_and_narrower_undo_each_other(start: float, extent: float, by: float) -> None:
    wide = widened((start, extent), by)
    if wide[1] < 360:
        back = narrowed(wide, by)
        assert back == (((wide[0] + by) % 360, wide[1] - 2 * by),)
        assert apart_deg(back[0][0], start) < 1e-9  # additions of binary fractions
    assert narrowed((start, extent), extent / 2) in ((), ((start, 360.0),))


def test_ends_belong_to_an_arc() -> None:
    assert covers([(350.0, 20.0)], 350.0)
    assert covers([(350.0, 20.0)], 10.0)
    assert not covers([(350.0, 20.0)], 10.1)
