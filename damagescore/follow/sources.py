"""Inspections from record files, data folders and plans of photos."""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from damagescore.batch import BY, measure_files
from damagescore.endurance.plan import Plan, PlannedPart, read_plan
from damagescore.errors import DamageScoreError, RecordError, UsageError
from damagescore.inspection import (
    add_photo,
    assess_inspection,
    inspection_from_dict,
    new_inspection,
)
from damagescore.inspection.record import Inspection, Part
from damagescore.limits import LimitSet
from damagescore.records import Store

SUPERSEDED_LIMIT = 100_000


@dataclass(slots=True, kw_only=True)
class Gathered:
    """Inspections with the way to the bytes of their photos."""

    inspections: list[Inspection] = field(default_factory=list)
    loaders: list[Callable[[str], bytes]] = field(default_factory=list)

    def photo_bytes(self, sha256: str) -> bytes:
        """Give a photo's bytes from whichever source has them; RecordError otherwise."""
        for loader in self.loaders:
            try:
                return loader(sha256)
            except DamageScoreError:
                continue
        raise RecordError(
            f"The photo {sha256[:12]} is not at hand.", remedy="Give the folder that has it."
        )


def gather(
    sources: Iterable[Path], *, limits: LimitSet | None = None, workers: int | None = None
) -> Gathered:
    """Read inspections from several sources.

    Parameters
    ----------
    sources : iterable of Path
        A data folder of the app, record.json files or folders that hold them at any
        depth, or plans (TOML) whose photos are measured now.
    limits : LimitSet, optional
        Photos of plans are compared with them.
    workers : int or None
        See `measure_files`.

    Raises
    ------
    UsageError
        When a source does not exist or holds no record.
    """
    found = Gathered()
    for source in sources:
        if source.suffix == ".toml":
            _add_plan(found, source, limits, workers)
        elif (source / "records.sqlite").is_file():
            _add_store(found, source)
        else:
            found.inspections += [_record(p) for p in _record_files(source)]
    return found


def keep(gathered: Gathered, store: Store) -> None:
    """Put inspections and their photos into a store; those already there stay."""
    for inspection in gathered.inspections:
        if store.revision(inspection.id) == 0:
            for entry in inspection.photos:
                store.put_photo(gathered.photo_bytes(entry.sha256))
            store.save(inspection)


def _add_store(found: Gathered, folder: Path) -> None:
    store = Store(folder)
    for summary in store.search(limit=SUPERSEDED_LIMIT):
        found.inspections.append(store.load(summary.id))
    found.loaders.append(store.photo_bytes)


def _record_files(source: Path) -> list[Path]:
    if source.is_file():
        return [source]
    if not source.exists():
        raise UsageError(f"There is no {str(source)!r}.", remedy="Check the path.")
    inside = sorted(source.rglob("record.json"))
    if not inside:
        raise UsageError(
            f"The folder {str(source)!r} holds no record.json and no records.",
            remedy="Give a data folder of the app, or a folder that `assess` wrote.",
        )
    return inside


def _record(path: Path) -> Inspection:
    try:
        plain = json.loads(path.read_text(encoding="utf-8"))
        return inspection_from_dict(plain["inspection"])
    except (ValueError, KeyError, TypeError) as fault:
        raise UsageError(
            f"{path.name} is no record: {fault}.", remedy="Give a record.json of `assess`."
        ) from fault


def _add_plan(
    found: Gathered, path: Path, limits: LimitSet | None, workers: int | None
) -> None:
    plan = read_plan(path, fewest=1)
    paths: dict[str, Path] = {}
    for part in plan.parts:
        for inspection, photo in inspections_of(plan, part, limits=limits, workers=workers):
            found.inspections.append(inspection)
            paths[inspection.photos[0].sha256] = photo
    found.loaders.append(lambda sha256: _bytes_of(paths, sha256))


def _bytes_of(paths: dict[str, Path], sha256: str) -> bytes:
    if sha256 not in paths:
        raise RecordError(f"The photo {sha256[:12]} is not in the plan.", remedy="")
    return paths[sha256].read_bytes()


def inspections_of(
    plan: Plan, part: PlannedPart, *, limits: LimitSet | None, workers: int | None = None
) -> Iterator[tuple[Inspection, Path]]:
    """Measure the photos of one planned part; one inspection for each look.

    Nobody has reviewed the findings: they count as proposals.

    Yields
    ------
    tuple of Inspection and Path
        The photo's path beside what was measured on it.
    """
    for look in part.looks:
        if not look.path.is_file():
            raise UsageError(f"There is no file {str(look.path)!r}.", remedy="Check the plan.")
    jobs = [(look.path, plan.options) for look in part.looks]
    measured = measure_files(jobs, workers=workers)
    now = datetime.now(UTC).replace(microsecond=0)
    for number, (look, measurement) in enumerate(zip(part.looks, measured, strict=True)):
        if measurement["photo"]["sha256"] is None:
            continue
        # Without dates the record says when it was made, in the order of the hours.
        at = (now + timedelta(seconds=number)).isoformat()
        if look.day:
            at = f"{look.day}T12:00:{number % 60:02d}+00:00"
        begun = new_inspection(
            Part(part_number=part.group, serial_number=part.name, hours=look.hours),
            by=BY, at=at, inspection_id=f"{part.group}-{part.name}-{look.hours:g}",
        )  # fmt: skip
        inspection = add_photo(
            begun, sha256=measurement["photo"]["sha256"], name=look.path.name,
            measurement=measurement, options=plan.options.to_dict(), by=BY, at=at,
        )  # fmt: skip
        if limits is not None:
            inspection = assess_inspection(inspection, limits, by=BY, at=at)
        yield inspection, look.path
