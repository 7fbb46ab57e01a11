"""Findings followed through several inspections."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from damagescore.damage.record import Finding
from damagescore.history.edge_view import EdgeView
from damagescore.history.pairing import (
    SIZE_OF,
    Pair,
    Side,
    pair_findings,
)
from damagescore.history.record import Axis, Point, Series
from damagescore.history.register import (
    NotRegistered,
    Registration,
    register,
)
from damagescore.quantity import NotMeasured, Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One inspection's edge laid flat, and the findings on it that count.

    The views of all looks that are to be compared have the same rows: `edge_view` with the
    thicknesses of the first.
    """

    use: float
    view: EdgeView
    findings: tuple[Finding, ...]
    record_id: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """From one look to the next: how they lie on one another, and all pairs."""

    earlier: int
    later: int
    registration: Registration | NotRegistered
    pairs: tuple[Pair, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One finding through the looks.

    Parameters
    ----------
    name : str
        Kind, layer and number, for a person.
    findings : tuple of Finding or None
        One for each look; None where it was not found.
    """

    name: str
    kind: str
    layer: int | None
    findings: tuple[Finding | None, ...]


def steps_of(looks: Sequence[Look]) -> tuple[Step, ...]:
    """Register each look with the one before and pair their findings."""
    return tuple(_step(looks, i) for i in range(1, len(looks)))


def compare_looks(earlier: Look, later: Look) -> Step:
    """Register two looks and pair their findings."""
    return _step((earlier, later), 1)


def tracks_of(looks: Sequence[Look], steps: Sequence[Step]) -> tuple[Track, ...]:
    """Chain the pairs of successive looks; a look that cannot be registered begins anew."""
    rows: list[list[Finding | None]] = []
    if looks:
        rows = [[f] for f in looks[0].findings]
    for number, step in enumerate(steps, start=1):
        after = {p.before.id: p.after for p in step.pairs if p.before is not None}
        fresh = list(looks[number].findings)
        for row in rows:
            last = row[-1]
            found = after.get(last.id) if last is not None else None
            row.append(found)
            fresh = [f for f in fresh if found is None or f.id != found.id]
        rows += [[None] * number + [f] for f in fresh]
    return tuple(_named(row, number) for number, row in enumerate(rows, start=1))


def series_of_track(
    track: Track, looks: Sequence[Look], *, axis: Axis = "hours", like: Series | None = None
) -> Series:
    """Size of one tracked finding against hours or cycles.

    `like` lends its limit, where one is set on each single finding of that kind.
    """
    unit = "mm2" if track.kind == "crumbling" else "mm"
    points = []
    for look, finding in zip(looks, track.findings, strict=True):
        value: Quantity = NotMeasured(reason="It was not found in this photo.", unit=unit)  # type: ignore[arg-type]
        if finding is not None:
            value = finding.quantities.get(SIZE_OF.get(track.kind, ""), value)
        points.append(Point(use=look.use, value=value, record_id=look.record_id, at=look.at))
    made = Series(id=track.name, label=track.name, unit=unit, points=tuple(points), axis=axis)  # type: ignore[arg-type]
    if like is None:
        return made
    return replace(
        made, limit=like.limit, inclusive=like.inclusive, guard_factor=like.guard_factor,
        text=like.text, invented=like.invented,
    )  # fmt: skip


def _step(looks: Sequence[Look], later: int) -> Step:
    first, second = looks[later - 1], looks[later]
    found = register(first.view, second.view)
    if isinstance(found, NotRegistered):
        return Step(earlier=later - 1, later=later, registration=found)
    sides = (
        Side(view=first.view, findings=first.findings),
        Side(view=second.view, findings=second.findings),
    )
    return Step(
        earlier=later - 1, later=later, registration=found,
        pairs=pair_findings(*sides, found),
    )  # fmt: skip


def _named(row: list[Finding | None], number: int) -> Track:
    known = next(f for f in row if f is not None)
    words = known.kind.replace("_", " ")
    place = "" if known.layer is None else f" in layer {known.layer}"
    return Track(
        name=f"{number}: {words}{place}", kind=known.kind, layer=known.layer,
        findings=tuple(row),
    )  # fmt: skip
