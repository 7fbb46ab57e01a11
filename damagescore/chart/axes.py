"""Axes: round ticks and the way from values to places."""

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Scaled:
    """A straight axis from values to places."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Place of a value; values outside are kept within a little beyond the axis."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + min(max(share, -0.02), 1.02) * (self.end - self.start)


def ticks(low: float, high: float, *, most: int = 6) -> list[float]:
    """Round numbers from `low` to `high`: steps of 1, 2 or 5 times a power of ten."""
    if not high > low:
        return [low]
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    count = math.floor(high / step + 1e-9) - first + 1
    return [(first + i) * step for i in range(count)]


def tick_words(values: Iterable[float]) -> list[str]:
    """Ticks with as many decimals as the step needs."""
    given = list(values)
    step = given[1] - given[0] if len(given) > 1 else 1.0
    places = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    return [f"{v + 0.0:.{places}f}" for v in given]


def reach(values: Iterable[float], *, from_zero: bool) -> tuple[float, float]:
    """Ends of an axis that hold all values with a little room."""
    known = [v for v in values if math.isfinite(v)] or [0.0]
    low, high = min(known), max(known)
    if from_zero:
        low = min(low, 0.0)
    room = 0.06 * (high - low) or max(0.1 * abs(high), 0.5)
    return (low if from_zero and low == 0 else low - room), high + room
