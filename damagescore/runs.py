"""Runs of True in a row of flags."""

import numpy as np
from numpy.typing import ArrayLike


def runs_of_true(flags: ArrayLike) -> list[tuple[int, int]]:
    """First and one past the last index of every run of true flags, shape (N,), in order."""
    padded = np.concatenate([[False], np.asarray(flags, bool), [False]])
    ends = np.flatnonzero(padded[1:] != padded[:-1]).reshape(-1, 2)
    return [(int(a), int(b)) for a, b in ends]
