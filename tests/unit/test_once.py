"""What two findings follow counts in one of them."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from damagescore.damage.once import counted_once
from damagescore.photo.along import run_of

PX_PER_MM = 25.0


def _line(*corners, step=1.0):
    """A line through corners in mm, as pixels a step apart."""
    corners = np.array(corners, np.float64) * PX_PER_MM
    run = run_of(corners)
    at = np.linspace(0, run[-1], max(2, round(run[-1] / step) + 1))
    return np.column_stack([np.interp(at, run, corners[:, k]) for k in (0, 1)])


def _mm(findings):
    return [sum(run_of(x)[-1] for x in lines) / PX_PER_MM for lines in findings]


def _once(*findings):
    return counted_once(findings, px_per_mm=PX_PER_MM)


def test_lines_apart_stay_as_they_are():
    findings = [(_line((0, 0), (10, 0)),), (_line((0, 0.5), (10, 0.5)),)]
    for made, before in zip(_once(*findings), findings, strict=True):
        np.testing.assert_array_equal(made[0], before[0])


def test_a_piece_of_a_longer_line_is_not_told_again():
    whole, piece, dot = ((0, 0), (10, 0)), ((4, 0.05), (9, 0.05)), ((6, 0), (6.05, 0))
    made = _once((_line(*piece),), (_line(*dot),), (_line(*whole),))
    assert [len(x) for x in made] == [0, 0, 1]
    assert sum(_mm(made)) == pytest.approx(10.0)


@pytest.mark.parametrize("way", [1, -1])
def test_two_pieces_that_overlap_add_up_to_the_whole(way):
    first, second = _line((0, 0), (8, 0)), _line((6, 0.04), (13, 0.04))
    made = _once((second[::way],), (first,))
    assert _mm(made) == pytest.approx([5.0, 8.0], abs=0.15)


def test_a_line_that_runs_on_along_another_ends_where_it_meets_it():
    other, runs_on = _line((0, 0), (12, 0)), _line((2, 4), (4, 0), (6, 0))
    made = _once((runs_on,), (other,))
    assert _mm(made)[0] == pytest.approx(np.hypot(2, 4), abs=0.15)


def test_lines_that_cross_keep_both_sides():
    made = _once((_line((0, 0), (12, 0)),), (_line((4, -2), (6, 2)),))
    assert _mm(made) == pytest.approx([12.0, np.hypot(2, 4)])


def test_a_branch_that_is_another_finding_is_left_out_alone():
    main, branch = _line((0, 0), (6, 0)), _line((3, 0), (5, 2))
    longer = _line((3.2, 0.2), (5, 2), (12, 2))
    made = _once((main, branch), (longer,))
    assert len(made[0]) == 1
    assert _mm(made)[0] == pytest.approx(6.0)


def test_a_main_path_that_is_another_finding_leaves_its_branches():
    main, branch = _line((0, 0), (6, 0)), _line((3, 0), (3, 9))
    made = _once((main, branch), (_line((-9, 0), (9, 0)),))
    assert _mm(made) == pytest.approx([9.0, 18.0])


@given(st.lists(st.tuples(st.floats(0, 20), st.floats(0, 2)), min_size=2, max_size=5))
def test_whatever_runs_together_no_line_is_left_without_length(corners):
    steps = np.hypot(*np.diff(np.array(corners), axis=0).T)
    assume(steps.min() > 0.2)
    other = _line((0, 1), (20, 1))
    for lines in _once((_line(*corners), _line((5, 1), (5, 8))), (other,)):
        assert all(len(x) > 1 and run_of(x)[-1] > 0 for x in lines)
