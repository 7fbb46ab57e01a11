"""Work on two cores gives what work on one gives, in the same order."""

import os
import subprocess
import sys
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


THREADS = """
import os
import damagescore
import numpy as np
from scipy.linalg import solve
a = np.eye(600) + np.ones((600, 600))
solve(a @ a, a)
print(len(os.listdir("/proc/self/task")))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="counts threads as Linux lists them")
def test_matrices_take_one_thread_unless_the_user_says_so() -> None:
    plain = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"}
    assert _threads(plain) == 1
    asked = _threads({**plain, "OPENBLAS_NUM_THREADS": "3"})
    assert asked > 1 or os.cpu_count() == 1


def _threads(environment: dict[str, str]) -> int:
    command = [sys.executable, "-c", THREADS]
    done = subprocess.run(command, env=environment, check=True, capture_output=True, text=True)
    return int(done.stdout)
