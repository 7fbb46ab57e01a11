"""Many photos without the app: one part with its report, and the demonstration."""

import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tqdm import tqdm

from damagescore.errors import PhotoError, UsageError
from damagescore.inspection import add_photo, assess_inspection, new_inspection
from damagescore.inspection.record import Inspection, Part
from damagescore.limits import LimitSet, demo_limit_set_text, parse_limit_set
from damagescore.measure import Measurement, MeasureOptions, measure_photo, unreadable
from damagescore.photo import read_photo
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


def assess_photos(
    jobs: Sequence[Job],
    *,
    limits: LimitSet,
    part: Part,
    folder: Path,
    unit: Length = "mm",
    progress: bool = True,
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
    """
    inspection = new_inspection(part, by=BY)
    photos: dict[str, bytes] = {}
    refused = []
    for path, given in tqdm(jobs, unit="photo", disable=None if progress else True):
        data = path.read_bytes()
        options = replace(given, smallest_limit_mm=limits.smallest_length_mm)
        measurement = _measured(data, path.name, options)
        if measurement.photo["sha256"] is None:
            refused.append(f"{path.name}: {_reason(measurement)}")
            continue
        inspection = _with_photo(inspection, measurement, options)
        photos[str(measurement.photo["sha256"])] = data
        if not measurement.quality.usable:
            refused.append(f"{path.name}: {_reason(measurement)}")
    if not inspection.photos:
        raise PhotoError(
            "None of the photos could be read. " + " ".join(refused),
            remedy="Give at least one readable photo.",
        )
    inspection = assess_inspection(inspection, limits, by=BY)
    files = write_report(inspection, photos.__getitem__, folder, unit=unit)
    return PartOutcome(inspection=inspection, files=files, refused=tuple(refused))


def _measured(data: bytes, name: str, options: MeasureOptions) -> Measurement:
    try:
        return measure_photo(read_photo(data, name=name), options)
    except PhotoError as fault:
        return unreadable(name, fault, view=options.view)


def _with_photo(
    inspection: Inspection, measurement: Measurement, options: MeasureOptions
) -> Inspection:
    return add_photo(
        inspection,
        sha256=str(measurement.photo["sha256"]),
        name=str(measurement.photo["path"]),
        measurement=measurement.to_dict(),
        options=options.to_dict(),
        by=BY,
    )


def _reason(measurement: Measurement) -> str:
    return next(c.message for c in measurement.quality.checks if c.outcome == "refuse")


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
