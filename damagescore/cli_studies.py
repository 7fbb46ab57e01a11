"""Commands of studies: agreement, repeatability, detection, and the check target."""

import argparse
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tqdm import tqdm

from damagescore.capability.agreement import statistics_of
from damagescore.capability.crossed import analyse
from damagescore.capability.csv_tables import read_crossed, read_grades, read_sites, sites_csv
from damagescore.capability.detection import Site, false_calls, hit_miss
from damagescore.capability.numbers import FORMS, intraclass
from damagescore.capability.record import Answer
from damagescore.capability.rendered import sites_of_photo
from damagescore.capability.target import check_target
from damagescore.errors import StudyError, UsageError
from damagescore.measure import measure_file
from damagescore.photo import read_photo
from damagescore.scenes.reading import Case, cases_in

DONE, REFUSED = 0, 3


def add_study_commands(commands: Any, length: Callable[[str], float]) -> None:
    """Add the commands; `length` reads a length in mm."""
    command = commands.add_parser("agreement", help="agreement of graders from a CSV table")
    command.add_argument("table", type=Path, metavar="FILE.csv")
    command.add_argument(
        "--numbers", action="store_true", help="the cells are measured numbers"
    )
    command.set_defaults(run=run_agreement)
    command = commands.add_parser(
        "repeatability", help="repeatability of measuring from a filled plan (CSV)"
    )
    command.add_argument("table", type=Path, metavar="FILE.csv")
    command.add_argument("--tolerance", type=float, help="in the unit of the values")
    command.set_defaults(run=run_repeatability)
    command = commands.add_parser(
        "detection", help="size of damage that is found, from sites or photos with truth"
    )
    command.add_argument("source", type=Path, metavar="FILE.csv|FOLDER")
    command.add_argument("--sites", type=Path, metavar="FILE.csv", help="write the sites here")
    command.set_defaults(run=run_detection)
    command = commands.add_parser("target", help="measure a photo of the check target")
    command.add_argument("photo", type=Path, metavar="PHOTO")
    command.add_argument(
        "--line", type=length, required=True, metavar="MM", help="the 100 mm line by calliper"
    )
    command.set_defaults(run=run_target)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        raise UsageError(
            f"{path.name} is not UTF-8 text.", remedy="Save it as CSV with UTF-8."
        ) from fault


def _print(plain: dict[str, Any]) -> None:
    print(json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False))


def run_agreement(given: argparse.Namespace) -> int:
    """Print the statistics of a table of grades or numbers."""
    table = read_grades(_text(given.table))
    answers: tuple[Answer, ...]
    if given.numbers:
        answers = tuple(intraclass(table.values, form=form) for form in FORMS)
    else:
        answers = statistics_of(table.values)
    _print({"subjects": len(table.subjects), "graders": list(table.graders),
            "statistics": [a.to_dict() for a in answers]})  # fmt: skip
    return DONE


def run_repeatability(given: argparse.Namespace) -> int:
    """Print the analysis of a crossed study."""
    table = read_crossed(_text(given.table))
    study = analyse(table.values, tolerance=given.tolerance)
    _print(
        {"parts": list(table.parts), "inspectors": list(table.inspectors), **study.to_dict()}
    )
    return DONE


def run_detection(given: argparse.Namespace) -> int:
    """Print the fitted curve of found and missed sites."""
    sites = (
        tuple(_sites_in(given.source))
        if given.source.is_dir()
        else read_sites(_text(given.source))
    )
    if given.sites is not None:
        given.sites.write_text(sites_csv(sites), encoding="utf-8", newline="")
    _print({
        "sites": len(sites), "curve": hit_miss(sites).to_dict(),
        "false_calls": false_calls(sites).to_dict(),
    })  # fmt: skip
    return DONE


def _sites_in(folder: Path) -> Iterator[Site]:
    cases = [c for c in cases_in(folder) if c.good and c.truth["view"] == "face"]
    if not cases:
        raise StudyError(
            f"{folder} has no usable face photo with its truth beside it.",
            remedy="Render some: python -m damagescore.scenes development --out FOLDER.",
        )
    for case in tqdm(cases, unit="photo", disable=None):
        yield from _sites_of(case)


def _sites_of(case: Case) -> tuple[Site, ...]:
    measured = measure_file(case.path, case.options())
    scale = measured.scale
    if not measured.quality.usable or scale is None:
        # What is refused is photographed again: it is neither found nor missed.
        return ()
    return sites_of_photo(case.truth, measured.findings, mm_per_px=scale.mm_per_px)


def run_target(given: argparse.Namespace) -> int:
    """Print the readings of the check target; 3 when one is off."""
    check = check_target(read_photo(given.photo), line_mm=given.line)
    _print(check.to_dict())
    return DONE if check.passed else REFUSED
