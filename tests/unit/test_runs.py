"""Runs of true flags."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import find_objects, label

from damagescore.runs import runs_of_true


@pytest.mark.parametrize(
    ("flags", "runs"),
    [
        ([], []),
        ([False, False], []),
        ([True], [(0, 1)]),
        ([True, True, False, True], [(0, 2), (3, 4)]),
    ],
)
def test_runs(flags, runs):
    assert runs_of_true(flags) == runs


@given(st.lists(st.booleans(), max_size=60))
def test_runs_are_those_of_a_reference_library(flags):
    """`scipy.ndimage.label`: connected parts of a row."""
    labelled, _ = label(np.array(flags, bool))
    known = [(s.start, s.stop) for (s,) in find_objects(labelled)] if flags else []
    assert runs_of_true(flags) == known
