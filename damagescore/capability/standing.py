"""Whether the last check of the target holds, and whether its readings drift."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from damagescore.errors import StudyError

State = Literal["none", "failed", "overdue", "valid"]

FEWEST = 8
"""Checks from which control limits are drawn: fewer do not show the usual scatter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Whether photos of a camera may be relied on at a moment.

    Parameters
    ----------
    state : "none", "failed", "overdue" or "valid"
    words : str
        One sentence for the page and the record.
    due : datetime or None
        When the next check is due; None where none was passed.
    """

    state: State
    words: str
    due: datetime | None


def standing(
    checks: Sequence[tuple[datetime, bool]], *, now: datetime, valid_days: float
) -> Standing:
    """Judge the checks of one camera.

    Parameters
    ----------
    checks : sequence of (datetime, bool)
        When each was made and whether it passed; of the same moment, the last given counts.
        Aware of their time zone.
    now : datetime
    valid_days : float
        How long a passed check holds, as the organisation sets it.

    Raises
    ------
    StudyError
        When `valid_days` is not above 0.
    """
    if not valid_days > 0:
        raise StudyError(
            f"A check is said to hold for {valid_days:g} days.", remedy="Give a number above 0."
        )
    made = sorted(checks, key=lambda check: check[0])
    if not made:
        return Standing(state="none", words="The check target was never measured.", due=None)
    at, passed = made[-1]
    day = at.astimezone(UTC).date().isoformat()
    if not passed:
        words = f"The last check of the target, on {day}, failed."
        return Standing(state="failed", words=words, due=None)
    due = at + timedelta(days=valid_days)
    if now > due:
        words = f"The last check of the target, on {day}, is older than {valid_days:g} days."
        return Standing(state="overdue", words=words, due=due)
    words = f"The check target was measured on {day} and passed; it holds until {due.date()}."
    return Standing(state="valid", words=words, due=due)


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlChart:
    """Individual values with their control limits.

    `low` and `high` are None for fewer than `FEWEST` values; `outside` are the positions of
    values beyond them.
    """

    values: NDArray[np.float64]
    centre: float
    low: float | None
    high: float | None
    outside: tuple[int, ...]


def control_chart(values: Sequence[float]) -> ControlChart:
    """Chart of individual values by their moving range.

    Limits are the mean plus and minus 3 mean moving ranges over 1.128, the expected range
    of two (Shewhart; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2).

    Raises
    ------
    StudyError
        When there is no value.
    """
    if not values:
        raise StudyError("There is no check to chart.", remedy="Measure the target first.")
    given = np.asarray(values, np.float64)
    centre = float(given.mean())
    if len(given) < FEWEST:
        return ControlChart(values=given, centre=centre, low=None, high=None, outside=())
    reach = 3 * float(np.abs(np.diff(given)).mean()) / 1.128
    outside = np.flatnonzero(np.abs(given - centre) > reach)
    return ControlChart(
        values=given, centre=centre, low=centre - reach, high=centre + reach,
        outside=tuple(int(k) for k in outside),
    )  # fmt: skip
