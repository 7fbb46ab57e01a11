"""Pieces of one piece of work on several cores."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import cv2

Item = TypeVar("Item")
Result = TypeVar("Result")

MOST = 2
"""More threads gain little: what the interpreter does itself, it does one at a time."""


def side_by_side(work: Callable[[Item], Result], items: Iterable[Item]) -> list[Result]:
    """What `work` gives for every item, in the order of the items.

    NumPy and OpenCV let go of the interpreter while they work on arrays, so that two items
    go side by side. A process that measures one photo of many is told to use one thread
    (`cv2.setNumThreads(1)`), and then they go one after the other.

    Parameters
    ----------
    work : callable
        Must not change what other items look at, and must not call this function.
    items : iterable
    """
    given = list(items)
    threads = min(MOST, cv2.getNumThreads(), len(given))
    if threads <= 1:
        return [work(x) for x in given]
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(work, given))
