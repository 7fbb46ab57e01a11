"""Work on two cores gives what work on one gives, in the same order."""

import threading
from collections.abc import Iterator

import cv2
import pytest

from damagescore.side_by_side import side_by_side


@pytest.fixture(params=[1, 2])
def threads(request: pytest.FixtureRequest) -> Iterator[int]:
    before = cv2.getNumThreads()
    cv2.setNumThreads(request.param)
    yield request.param
    cv2.setNumThreads(before)


def test_results_come_in_the_order_of_the_items(threads: int) -> None:
    assert side_by_side(lambda x: x * x, range(20)) == [x * x for x in range(20)]
    assert side_by_side(abs, []) == []


def test_a_process_with_one_thread_starts_no_other(threads: int) -> None:
    here = threading.get_ident()
    used = set(side_by_side(lambda _: threading.get_ident(), range(20)))
    assert (used == {here}) == (threads == 1)


def test_a_fault_reaches_the_caller(threads: int) -> None:
    with pytest.raises(ZeroDivisionError):
        side_by_side(lambda x: 1 / x, [1, 0, 2])
