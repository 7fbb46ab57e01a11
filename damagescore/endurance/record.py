"""Parts of an endurance test and the times at which they reached a criterion."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from damagescore.errors import UsageError
from damagescore.history.record import Series

Ending = Literal["running", "taken_off", "replaced", "run_out"]

ENDING_WORDS: Mapping[Ending, str] = {
    "running": "still on test",
    "taken_off": "taken off",
    "replaced": "replaced",
    "run_out": "test ended",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifetime:
    """Hours at which a part reached a criterion, as far as it is known.

    Parameters
    ----------
    low : float
        Not reached before this.
    high : float or None
        Reached by this; equal to `low` where it is known exactly, None where it was not
        reached while the part was watched (censored).
    """

    low: float
    high: float | None

    def __post_init__(self) -> None:
        if self.low < 0 or (self.high is not None and self.high < self.low):
            raise UsageError(
                f"A life between {self.low} and {self.high} hours is none.",
                remedy="Give 0 or more hours, the earlier ones first.",
            )

    @property
    def reached(self) -> bool:
        return self.high is not None

    @property
    def exact(self) -> bool:
        return self.high == self.low


@dataclass(frozen=True, slots=True, kw_only=True)
class Specimen:
    """One part on test.

    Parameters
    ----------
    name : str
        As the test names it.
    group : str
        Design or supplier: what is compared with what.
    series : tuple of Series
        One for each criterion, against test hours; the same ids for all parts.
    ending : "running", "taken_off", "replaced" or "run_out"
        Why it was watched no longer.
    """

    name: str
    group: str
    series: tuple[Series, ...]
    ending: Ending = "running"

    @property
    def last_hours(self) -> float:
        """Hours of the last look at it."""
        return max((p.use for s in self.series for p in s.points), default=0.0)

    def series_named(self, name: str) -> Series | None:
        return next((s for s in self.series if s.id == name), None)
