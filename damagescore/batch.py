"""Many photos without the app: one part with its report, and the demonstration."""

import os
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
from tqdm import tqdm

from damagescore.errors import DamageScoreError, PhotoError, UsageError
from damagescore.inspection import add_photo, assess_inspection, new_inspection
from damagescore.inspection.record import Inspection, Part
from damagescore.limits import LimitSet, demo_limit_set_text, parse_limit_set
from damagescore.measure import MeasureOptions, measure_file
from damagescore.quality import Quality
from damagescore.quantity import Length
from damagescore.report import ReportFiles, write_report
from damagescore.scale import ScaleRequest

PHOTO_ENDINGS = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"})

BY = "unattended run"
"""Who is named as having added photos where no inspector was at work."""

OUTCOME_WORDS: Mapping[str, str] = {
    "within": "within limits",
    "borderline": "BORDERLINE",
    "exceeded": "LIMIT EXCEEDED",
    "not_fully_assessed": "NOT FULLY ASSESSED",
}

Job = tuple[Path, MeasureOptions]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartOutcome:
    """The assessed part, its report, and the names of refused photos."""

    inspection: Inspection
    files: ReportFiles
    refused: tuple[str, ...]

    @property
    def summary(self) -> str:
        """A few lines for a terminal."""
        part, assessment = self.inspection.part, self.inspection.assessment or {}
        name = " ".join(x for x in (part.part_number, part.serial_number) if x) or "part"
        outcome = OUTCOME_WORDS[str(assessment.get("outcome"))]
        score = assessment.get("score")
        lines = [f"{name}: {outcome}" + (f", score {score:.0f}" if score is not None else "")]
        lines += [f"  refused: {x}" for x in self.refused]
        lines += [f"  {self.files.pdf}"]
        return "\n".join(lines)


def photos_in(paths: Iterable[Path]) -> list[Path]:
    """Photos named one by one, and those of each folder, by name.

    Raises
    ------
    UsageError
        When a path does not exist, or a folder holds no photo.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.suffix.lower() in PHOTO_ENDINGS)
            if not inside:
                raise UsageError(
                    f"The folder {str(path)!r} holds no photo.",
                    remedy="Give a folder with JPEG, PNG, TIFF, WebP or HEIC files.",
                )
            found += inside
        elif path.is_file():
            found.append(path)
        else:
            raise UsageError(f"There is no file {str(path)!r}.", remedy="Check the path.")
    return found


def measure_files(
    jobs: Sequence[Job], *, workers: int | None = None
) -> Iterator[Mapping[str, Any]]:
    """Measure photo files, several at once, and yield the measurements in order as they come.

    The results are the same for every number of workers.

    Parameters
    ----------
    jobs : sequence of (Path, MeasureOptions)
    workers : int or None
        Processes that measure; None uses every core that this process may use, and 1
        measures here. Each needs about 0.7 GB for a 12-megapixel photo.

    Yields
    ------
    dict
        What `Measurement.to_dict` gives; a file that is no photo gives a refused one.

    Raises
    ------
    UsageError
        When the number of workers is below 1.
    DamageScoreError
        When a measuring process died, for instance for lack of memory.
    """
    if workers is not None and workers < 1:
        raise UsageError(f"The number of workers is {workers}.", remedy="Give 1 or more.")
    count = min(workers or len(os.sched_getaffinity(0)), len(jobs))
    if count <= 1:
        yield from map(_measured, jobs)
        return
    # "spawn" because a forked child of a process with threads may wait for ever on a lock
    with ProcessPoolExecutor(
        count, mp_context=get_context("spawn"), initializer=cv2.setNumThreads, initargs=(1,)
    ) as pool:
        try:
            yield from pool.map(_measured, jobs)
        except BrokenProcessPool as fault:
            raise DamageScoreError(
                f"One of {count} measuring processes ended unexpectedly.",
                remedy="The memory may not suffice: try again with one worker.",
            ) from fault


def _measured(job: Job) -> Mapping[str, Any]:
    return measure_file(*job).to_dict()


def assess_photos(
    jobs: Sequence[Job],
    *,
    limits: LimitSet,
    part: Part,
    folder: Path,
    unit: Length = "mm",
    progress: bool = True,
    workers: int | None = None,
) -> PartOutcome:
    """Measure photos of one part, compare with the limits, write report and record.

    Nobody has reviewed the findings: they count as proposals, and the record says so.

    Parameters
    ----------
    jobs : sequence of (Path, MeasureOptions)
    limits : LimitSet
    part : Part
    folder : Path
        Gets report.pdf, record.json and findings.csv.
    unit : "mm" or "in"
    progress : bool
        Show a bar while measuring.
    workers : int or None
        See `measure_files`.
    """
    smallest = limits.smallest_length_mm
    jobs = [(path, replace(given, smallest_limit_mm=smallest)) for path, given in jobs]
    measured = measure_files(jobs, workers=workers)
    bar = tqdm(measured, total=len(jobs), unit="photo", disable=None if progress else True)
    inspection = new_inspection(part, by=BY)
    paths: dict[str, Path] = {}
    refused = []
    for (path, options), measurement in zip(jobs, bar, strict=True):
        if not measurement["quality"]["usable"]:
            refused.append(f"{path.name}: {refusal_of(measurement, unit=unit)}")
        sha256 = measurement["photo"]["sha256"]
        if sha256 is None:
            continue
        inspection = _with_photo(inspection, measurement, options)
        paths[sha256] = path
    if not inspection.photos:
        raise PhotoError(
            "None of the photos could be read. " + " ".join(refused),
            remedy="Give at least one readable photo.",
        )
    inspection = assess_inspection(inspection, limits, by=BY)
    files = write_report(inspection, lambda k: paths[k].read_bytes(), folder, unit=unit)
    return PartOutcome(inspection=inspection, files=files, refused=tuple(refused))


def _with_photo(
    inspection: Inspection, measurement: Mapping[str, Any], options: MeasureOptions
) -> Inspection:
    return add_photo(
        inspection,
        sha256=measurement["photo"]["sha256"],
        name=measurement["photo"]["path"],
        measurement=measurement,
        options=options.to_dict(),
        by=BY,
    )


def refusal_of(measurement: Mapping[str, Any], *, unit: Length = "mm") -> str:
    """Why a refused photo cannot be judged."""
    checks = Quality.from_dict(measurement["quality"]).checks
    return next(c.words(unit) for c in checks if c.outcome == "refuse")


def run_demo(photos: Path, out: Path, *, say: Callable[[str], None] = print) -> None:
    """Assess every demo part against the invented limits; one report a part.

    Parameters
    ----------
    photos : Path
        Folder with demo.toml, which says what a user would say of each photo.
    out : Path
        One folder a part is made in it.
    say : callable
        Takes the summary of each part as it is done.

    Raises
    ------
    UsageError
        When the folder is not a demo folder.
    """
    plan_path = photos / "demo.toml"
    if not plan_path.is_file():
        raise UsageError(
            f"There is no {str(plan_path)!r}.",
            remedy="Run the command in the project's folder, or give --photos.",
        )
    limits = parse_limit_set(demo_limit_set_text(), name="demonstration limits")
    plan = tomllib.loads(plan_path.read_text(encoding="utf-8"))
    say(f"{limits.title}: these limits are INVENTED.")
    for entry in plan["part"]:
        part = Part(
            part_number=entry["part_number"], serial_number=entry["serial_number"],
            hours=float(entry["hours"]), description="Laminated bearing (invented)",
        )  # fmt: skip
        jobs = [(photos / p["file"], demo_options(p)) for p in entry["photo"]]
        folder = out / f"{part.part_number}-{part.serial_number}"
        say(assess_photos(jobs, limits=limits, part=part, folder=folder).summary)


def demo_options(photo: Mapping[str, Any]) -> MeasureOptions:
    """Options of one photo table of demo.toml."""
    request = ScaleRequest(
        kind=photo["scale"],
        size_mm=photo["size_mm"],
        edge_radius_mm=photo.get("edge_radius_mm"),
    )
    return replace(MeasureOptions(), view=photo["view"], scale=request)
