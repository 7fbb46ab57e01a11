"""Best paths through score images, and smooth curves through their points."""

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

Points = NDArray[np.float64]


def best_path(gain: Points, *, most_move: int, move_cost: float) -> NDArray[np.intp]:
    """Row per column of the path with the largest sum of gain less moves.

    Parameters
    ----------
    gain : ndarray, shape (rows, columns)
    most_move : int
        Rows that the path may move from one column to the next.
    move_cost : float
        Cost of a move, times its square.
    """
    rows, count = gain.shape
    moves = np.arange(-most_move, most_move + 1)
    # came[m, i]: the row from which move m leads to row i; outside is barred.
    came = np.arange(rows) - moves[:, None]
    cost = np.where((came >= 0) & (came < rows), move_cost * moves[:, None] ** 2, np.inf)
    came = np.clip(came, 0, rows - 1)
    score = gain[:, 0].copy()
    back = np.zeros((count, rows), dtype=np.intp)
    at = np.arange(rows)
    for k in range(1, count):
        tried = score[came] - cost
        best = np.argmax(tried, axis=0)
        back[k] = came[best, at]
        score = tried[best, at] + gain[:, k]
    path = np.empty(count, dtype=np.intp)
    path[-1] = int(np.argmax(score))
    for k in range(count - 1, 0, -1):
        path[k - 1] = back[k, path[k]]
    return path


def whittaker(values: Points, weight: Points, stiffness: float) -> Points:
    """Minimise sum weight (values - z)^2 + stiffness sum (second difference of z)^2."""
    count = len(values)
    bands = np.zeros((3, count))
    bands[2] = weight
    second = np.array([1.0, -2.0, 1.0])
    for i in range(3):
        for j in range(i, 3):
            gap = j - i
            bands[2 - gap, j : count - 2 + j] += stiffness * second[i] * second[j]
    return np.asarray(solveh_banded(bands, weight * values, lower=False))
