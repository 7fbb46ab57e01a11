"""A part on test from its inspections and readings."""

from collections.abc import Iterable

from damagescore.endurance.record import Ending, Specimen
from damagescore.history.lives import Life
from damagescore.history.record import Series
from damagescore.history.series import series_of
from damagescore.limits import LimitSet


def specimen_of(
    life: Life,
    limit_set: LimitSet | None = None,
    *,
    name: str = "",
    group: str = "",
    ending: Ending = "running",
    readings: Iterable[Series] = (),
) -> Specimen:
    """Make a part on test of one life of a part.

    Parameters
    ----------
    life : Life
    limit_set : LimitSet, optional
        That of its latest assessment by default; all parts of one comparison should
        have the same.
    name, group : str
        Serial number and part number by default.
    ending : str
    readings : iterable of Series
        As `read_readings` gives them; they take the place of a criterion of the same id.
    """
    extra = tuple(readings)
    named = {s.id for s in extra}
    series = [s for s in series_of(life, limit_set) if s.id not in named]
    return Specimen(
        name=name or life.name, group=group or life.part_number or life.name,
        series=(*series, *extra), ending=ending,
    )  # fmt: skip
