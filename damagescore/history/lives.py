"""The inspections of one part in order, split where its hours begin anew."""

from collections.abc import Iterable
from dataclasses import dataclass

from damagescore.history.record import Axis
from damagescore.inspection.record import Inspection, Part


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """One life of one part: from new or overhauled to its last inspection.

    Parameters
    ----------
    part_number, serial_number : str
    number : int
        1 is the first life seen; it rises where hours or cycles fall.
    axis : "hours" or "cycles"
    inspections : tuple of Inspection
        In the order of their dates.
    """

    part_number: str
    serial_number: str
    number: int
    axis: Axis
    inspections: tuple[Inspection, ...]

    @property
    def name(self) -> str:
        words = (self.part_number, self.serial_number)
        return " · ".join(x for x in words if x) or "Part without a number"

    @property
    def last_use(self) -> float:
        use = use_of(self.inspections[-1].part, self.axis)
        assert use is not None
        return use


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """An inspection that no history can use, and why."""

    record_id: str
    reason: str


def use_of(part: Part, axis: Axis) -> float | None:
    """Hours or cycles of a part."""
    return part.hours if axis == "hours" else part.cycles


def standing(inspections: Iterable[Inspection]) -> tuple[Inspection, ...]:
    """Leave out records that others supersede."""
    kept = tuple(inspections)
    replaced = {i.supersedes for i in kept}
    return tuple(i for i in kept if i.id not in replaced)


def lives_of(
    inspections: Iterable[Inspection], *, axis: Axis = "hours"
) -> tuple[tuple[Life, ...], tuple[LeftOut, ...]]:
    """Sort inspections into the lives of parts.

    A part is known by part number and serial number together. Where its hours or cycles
    fall from one inspection to the next, it was overhauled or another part took its
    number: a new life begins, and nothing of the old one enters a forecast.

    Returns
    -------
    lives : tuple of Life
        By part and number; the last of a part is its present one.
    left_out : tuple of LeftOut
        Without serial number, or without hours or cycles.
    """
    parts: dict[tuple[str, str], list[Inspection]] = {}
    left_out = []
    for inspection in sorted(standing(inspections), key=lambda i: (i.created_at, i.id)):
        part = inspection.part
        why = _unusable(part, axis)
        if why:
            left_out.append(LeftOut(record_id=inspection.id, reason=why))
        else:
            name = (part.part_number.strip(), part.serial_number.strip())
            parts.setdefault(name, []).append(inspection)
    lives = [
        Life(
            part_number=name[0], serial_number=name[1], number=number, axis=axis,
            inspections=tuple(run),
        )
        for name, found in sorted(parts.items())
        for number, run in enumerate(_runs(found, axis), start=1)
    ]  # fmt: skip
    return tuple(lives), tuple(left_out)


def _unusable(part: Part, axis: Axis) -> str:
    if not part.serial_number.strip():
        return "It has no serial number, so the part cannot be told from others."
    if use_of(part, axis) is None:
        return f"It has no {axis}."
    return ""


def _runs(inspections: list[Inspection], axis: Axis) -> list[list[Inspection]]:
    runs: list[list[Inspection]] = []
    before = -1.0
    for inspection in inspections:
        use = use_of(inspection.part, axis)
        assert use is not None
        if not runs or use < before:
            runs.append([])
        runs[-1].append(inspection)
        before = use
    return runs
