"""The command `compare`: an endurance test from its plan to its papers."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from damagescore.endurance.compare import Comparison, compare
from damagescore.endurance.frames import sample_frames
from damagescore.endurance.plan import Plan, PlannedLook, PlannedPart, read_plan
from damagescore.endurance.readings import read_readings
from damagescore.endurance.record import Specimen
from damagescore.endurance.specimen import specimen_of
from damagescore.endurance.words import group_words, pair_words
from damagescore.errors import UsageError
from damagescore.follow.same import face_photo, side_of
from damagescore.follow.sources import inspections_of
from damagescore.history.lives import lives_of
from damagescore.history.record import Series
from damagescore.inspection.record import Inspection
from damagescore.limits import LimitSet, demo_limit_set_text, parse_limit_set, read_limit_set
from damagescore.photo import read_photo
from damagescore.quantity import Length
from damagescore.report.compare_report import (
    PhotoRow,
    comparison_csv,
    comparison_json,
    comparison_pdf,
)
from damagescore.report.followed import SidePhoto


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """One part as it ran: its specimen, and its inspections with the photo of each."""

    specimen: Specimen
    looks: tuple[tuple[Inspection, Path], ...]


def compare_plan(
    path: Path,
    out: Path,
    *,
    unit: Length = "mm",
    workers: int | None = None,
    say: Callable[[str], None] = print,
) -> Comparison:
    """Measure all photos of a plan, compare the parts, write compare.pdf, .json and .csv.

    Frames of videos are written into `out/frames` and measured as photos.
    """
    plan = read_plan(path)
    limits = _limits(plan)
    out.mkdir(parents=True, exist_ok=True)
    runs = [
        _run(plan, _with_frames(p, out / "frames"), limits, workers=workers) for p in plan.parts
    ]
    found = compare((r.specimen for r in runs), title=plan.title, spectrum=plan.spectrum)
    rows = tuple(_photo_rows(runs, _hours_shown(plan, runs)))
    (out / "compare.pdf").write_bytes(comparison_pdf(found, rows=rows, unit=unit))
    (out / "compare.json").write_text(comparison_json(found), encoding="utf-8", newline="\n")
    (out / "compare.csv").write_text(comparison_csv(found), encoding="utf-8", newline="")
    for criterion in found.criteria:
        if not any(
            s.shows_anything for r in runs for s in r.specimen.series if s.id == criterion.id
        ):
            continue
        for words in (*map(group_words, criterion.groups), *map(pair_words, criterion.pairs)):
            say(f"{criterion.label}: {words}")
    say(str(out / "compare.pdf"))
    return found


def _limits(plan: Plan) -> LimitSet:
    if plan.limits is None:
        return parse_limit_set(demo_limit_set_text(), name="demonstration limits")
    return read_limit_set(plan.limits)


def _with_frames(part: PlannedPart, folder: Path) -> PlannedPart:
    looks: list[PlannedLook] = []
    for look in part.looks:
        looks += _frames(look, folder) if look.until_hours is not None else [look]
    return replace(part, looks=tuple(looks))


def _frames(look: PlannedLook, folder: Path) -> list[PlannedLook]:
    assert look.until_hours is not None
    if not look.path.is_file():
        raise UsageError(f"There is no file {str(look.path)!r}.", remedy="Check the plan.")
    folder.mkdir(parents=True, exist_ok=True)
    found = []
    for number, frame in enumerate(sample_frames(look.path, look.frames)):
        hours = look.hours + frame.share * (look.until_hours - look.hours)
        kept = folder / f"{look.path.stem}-{number:02d}.png"
        kept.write_bytes(frame.to_png())
        found.append(PlannedLook(path=kept, hours=hours))
    return found


def _run(plan: Plan, part: PlannedPart, limits: LimitSet, *, workers: int | None) -> _Run:
    readings: Sequence[Series] = ()
    if part.readings is not None:
        readings = _readings(part.readings, limits)
    looks = tuple(inspections_of(plan, part, limits=None, workers=workers))
    if not looks:
        specimen = Specimen(
            name=part.name, group=part.group, series=tuple(readings), ending=part.ending
        )
        return _Run(specimen=specimen, looks=())
    (life, *_), _ = lives_of(i for i, _ in looks)
    specimen = specimen_of(
        life, limits, name=part.name, group=part.group, ending=part.ending, readings=readings
    )
    return _Run(specimen=specimen, looks=looks)


def _readings(path: Path, limits: LimitSet) -> tuple[Series, ...]:
    if not path.is_file():
        raise UsageError(f"There is no file {str(path)!r}.", remedy="Check the plan.")
    return read_readings(path.read_text(encoding="utf-8"), name=path.name, limits=limits)


def _hours_shown(plan: Plan, runs: Sequence[_Run]) -> Sequence[float]:
    if plan.show_hours:
        return plan.show_hours
    hours = [i.part.hours or 0.0 for r in runs for i, _ in r.looks]
    return sorted({min(hours), max(hours)}) if hours else ()


def _photo_rows(runs: Sequence[_Run], hours: Sequence[float]) -> Iterator[PhotoRow]:
    for wanted in hours:
        photos = [p for r in runs if (p := _nearest(r, wanted)) is not None]
        if photos:
            yield PhotoRow(hours=wanted, photos=tuple(photos))


def _nearest(run: _Run, hours: float) -> SidePhoto | None:
    """The photo taken nearest to some hours."""
    usable: Mapping[float, tuple[Inspection, Path]] = {
        abs((i.part.hours or 0.0) - hours): (i, p)
        for i, p in run.looks
        if face_photo(i) is not None
    }
    if not usable:
        return None
    inspection, path = usable[min(usable)]
    entry = face_photo(inspection)
    assert entry is not None
    caption = f"{run.specimen.name} at {inspection.part.hours:.0f} h"
    return side_of(entry, read_photo(path), caption=caption)
