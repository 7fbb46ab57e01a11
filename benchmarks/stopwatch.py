"""Seconds that a piece of work takes."""

import time
from collections.abc import Callable


def best_s(work: Callable[[], object], *, repeats: int = 5) -> float:
    """Best of some runs, seconds: what disturbs a run only ever makes it longer."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)
