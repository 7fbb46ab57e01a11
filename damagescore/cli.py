"""The command line: measuring, work orders, and the record store.

Exit codes: 0 done, 1 unexpected fault, 2 wrong usage, 3 a photo was refused (its
JSON is printed or written all the same) or a record, 4 a signed record was changed.
"""

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from damagescore import __version__
from damagescore.batch import assess_photos, photos_in, run_demo
from damagescore.capability.sheet import write_target
from damagescore.cli_follow import add_follow_commands
from damagescore.cli_lens import add_calibrate
from damagescore.cli_records import add_record_commands
from damagescore.cli_studies import add_study_commands
from damagescore.damage import trace_crack
from damagescore.errors import DamageScoreError, PhotoError, UsageError
from damagescore.inspection.record import Part
from damagescore.limits import read_limit_set
from damagescore.measure import Measurement, MeasureOptions, edge_if_found, measure_file
from damagescore.orders import is_order_folder
from damagescore.orders.commands import add_order_commands, add_order_options, assess_order
from damagescore.photo import read_photo
from damagescore.scale import ScaleRequest, find_scale, read_lens, write_cards

DONE, FAULT, USAGE, REFUSED = 0, 1, 2, 3

TRACE_SCHEMA = "damagescore/trace/1"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    given = _parser().parse_args(arguments)
    try:
        return int(given.run(given))
    except PhotoError as fault:
        return _say(fault, code=REFUSED)
    except DamageScoreError as fault:
        return _say(fault, code=USAGE if isinstance(fault, UsageError) else REFUSED)
    except BrokenPipeError:  # the reader of a pipe had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except OSError as fault:
        message = f"{fault.strerror or fault} ({fault.filename})."
        return _say(DamageScoreError(message), code=USAGE)


def _say(fault: DamageScoreError, *, code: int) -> int:
    print(f"damagescore: {fault}", file=sys.stderr)
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="damagescore",
        description="Measure damage on the exposed edge of laminated elastomeric bearings. "
        "The approved maintenance data govern; a qualified inspector decides and signs.",
    )
    parser.add_argument("--version", action="version", version=f"damagescore {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_measure(commands)
    _add_assess(commands)
    _add_trace(commands)
    add_follow_commands(commands)
    _add_cards(commands)
    add_calibrate(commands, _positive)
    _add_demo(commands)
    add_order_commands(commands, add_photo_options=_add_photo_options, options=_options)
    add_record_commands(commands)
    add_study_commands(commands, _positive)
    return parser


def _add_measure(commands: Any) -> None:
    command = commands.add_parser("measure", help="measure one photo; prints one JSON object")
    command.add_argument("photo", type=Path, metavar="PHOTO")
    _add_photo_options(command)
    command.add_argument("--out", type=Path, metavar="FILE.json", help="write the JSON here")
    command.set_defaults(run=_measure)


def _add_assess(commands: Any) -> None:
    command = commands.add_parser(
        "assess", help="measure photos of one part, compare with limits, write the report"
    )
    command.add_argument("photos", type=Path, nargs="+", metavar="PHOTO", help="or a folder")
    command.add_argument("--limits", type=Path, required=True, metavar="FILE")
    command.add_argument("--out", type=Path, required=True, metavar="DIR")
    command.add_argument("--part-number", default="")
    command.add_argument("--serial-number", default="")
    command.add_argument("--work-order", default="")
    command.add_argument("--units", choices=("mm", "in"), default="mm")
    command.add_argument(
        "--workers", type=_count, metavar="N",
        help="photos measured at once; every core by default, each needs about 0.7 GB",
    )  # fmt: skip
    add_order_options(command)
    _add_photo_options(command)
    command.set_defaults(run=_assess)


def _add_trace(commands: Any) -> None:
    command = commands.add_parser("trace", help="measure one crack between given points")
    command.add_argument("photo", type=Path, metavar="PHOTO")
    command.add_argument("points", nargs="+", type=_point, metavar="X,Y", help="two or more")
    _add_photo_options(command)
    command.add_argument("--out", type=Path, metavar="FILE.json", help="write the JSON here")
    command.set_defaults(run=_trace)


def _add_cards(commands: Any) -> None:
    command = commands.add_parser("cards", help="write printable scale cards (PDF and SVG)")
    command.add_argument("--out", type=Path, default=Path("cards"), metavar="DIR")
    command.set_defaults(run=_cards)


def _add_demo(commands: Any) -> None:
    command = commands.add_parser("demo", help="run the whole job on the demo photos")
    command.add_argument("--photos", type=Path, default=Path("demo_images"), metavar="DIR")
    command.add_argument("--out", type=Path, default=Path("out/demo"), metavar="DIR")
    command.set_defaults(run=_demo)


def _add_photo_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--view", choices=("face", "profile"), default="face")
    command.add_argument("--edge-radius", type=_positive, metavar="MM", help="round edge")
    command.add_argument("--layers", type=int, metavar="N", help="how many layers, where known")
    command.add_argument("--sensitivity", type=float, default=0.5, metavar="0..1")
    help_standoff = "how much nearer to the camera the mark is than the rubber"
    command.add_argument(
        "--standoff", type=float, default=0.0, metavar="MM", help=help_standoff
    )
    command.add_argument("--lens", type=Path, metavar="FILE", help="profile by calibrate")
    scale = command.add_mutually_exclusive_group()
    scale.add_argument("--square-side", type=_positive, metavar="MM")
    scale.add_argument("--rule-pitch", type=_positive, metavar="MM")
    scale.add_argument("--two-dots", type=_positive, metavar="MM")
    scale.add_argument("--two-points", type=_two_points, metavar="X1,Y1,X2,Y2,MM")


def _positive(text: str) -> float:
    value = float(text)
    if not 0 < value < 10_000:
        raise argparse.ArgumentTypeError(f"{text} mm is not between 0 and 10000 mm")
    return value


def _count(text: str) -> int:
    """A whole number of at least 1."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of at least 1")
    return int(text)


def _point(text: str) -> tuple[float, float]:
    numbers = _numbers(text, count=2, wanted="X,Y")
    return numbers[0], numbers[1]


def _two_points(text: str) -> tuple[float, ...]:
    numbers = _numbers(text, count=5, wanted="X1,Y1,X2,Y2,MM")
    _positive(str(numbers[4]))
    return numbers


def _numbers(text: str, *, count: int, wanted: str) -> tuple[float, ...]:
    try:
        numbers = tuple(float(x) for x in text.split(","))
    except ValueError:
        numbers = ()
    if len(numbers) != count or not np.all(np.isfinite(numbers)):
        raise argparse.ArgumentTypeError(f"{text!r} is not {wanted} with plain numbers")
    return numbers


def _scale_request(given: argparse.Namespace) -> ScaleRequest:
    common = {
        "edge_radius_mm": given.edge_radius, "standoff_mm": given.standoff,
        "lens": None if given.lens is None else read_lens(given.lens),
    }  # fmt: skip
    if given.square_side is not None:
        return ScaleRequest(kind="squares", size_mm=given.square_side, **common)
    if given.rule_pitch is not None:
        return ScaleRequest(kind="rule", size_mm=given.rule_pitch, **common)
    if given.two_dots is not None:
        return ScaleRequest(kind="two_dots", size_mm=given.two_dots, **common)
    if given.two_points is not None:
        x1, y1, x2, y2, length_mm = given.two_points
        points = ((x1, y1), (x2, y2))
        return ScaleRequest(kind="two_points", size_mm=length_mm, points_px=points, **common)
    return ScaleRequest(**common)


def _options(given: argparse.Namespace) -> MeasureOptions:
    return MeasureOptions(
        view=given.view,
        scale=_scale_request(given),
        n_layers=given.layers,
        sensitivity=given.sensitivity,
    )


def _existing(path: Path) -> Path:
    if not path.is_file():
        raise UsageError(f"There is no file {str(path)!r}.", remedy="Check the path.")
    return path


def _measure(given: argparse.Namespace) -> int:
    path = _existing(given.photo)
    options = _options(given)
    measurement = measure_file(path, options)
    _print_json(_with_path(measurement, path), given.out)
    if measurement.quality.usable:
        return DONE
    print(f"damagescore: {_refusal(measurement)}", file=sys.stderr)
    return REFUSED


def _refusal(measurement: Measurement) -> str:
    return " ".join(c.words() for c in measurement.quality.checks if c.outcome == "refuse")


def _with_path(measurement: Measurement, path: Path) -> dict[str, Any]:
    plain = measurement.to_dict()
    plain["photo"]["path"] = str(path)
    return plain


def _assess(given: argparse.Namespace) -> int:
    if len(given.photos) == 1 and is_order_folder(given.photos[0]):
        return assess_order(given, given.photos[0], _options(given))
    part = Part(
        part_number=given.part_number,
        serial_number=given.serial_number,
        work_order=given.work_order,
    )
    jobs = [(path, _options(given)) for path in photos_in(given.photos)]
    outcome = assess_photos(
        jobs, limits=read_limit_set(given.limits), part=part, folder=given.out,
        unit=given.units, workers=given.workers,
    )  # fmt: skip
    print(outcome.summary)
    return REFUSED if outcome.refused else DONE


def _trace(given: argparse.Namespace) -> int:
    if len(given.points) < 2:
        raise UsageError(
            f"A trace needs two points or more, and {len(given.points)} was given.",
            remedy="Give the two ends of the crack as X1,Y1 X2,Y2.",
        )
    photo = read_photo(_existing(given.photo))
    scale = find_scale(photo, _scale_request(given), view=given.view)
    edge = edge_if_found(photo, scale, _options(given))
    points = np.array(given.points, dtype=np.float64)
    finding = trace_crack(photo, points, scale, edge=edge)
    plain = {
        "schema": TRACE_SCHEMA,
        "version": __version__,
        "photo": {"path": str(given.photo), "sha256": photo.sha256,
                  "width": photo.width, "height": photo.height},
        "scale": scale.to_dict(),
        "finding": finding.to_dict(),
    }  # fmt: skip
    _print_json(plain, given.out)
    return DONE


def _cards(given: argparse.Namespace) -> int:
    for path in (*write_cards(given.out), write_target(given.out)):
        print(path)
    return DONE


def _demo(given: argparse.Namespace) -> int:
    run_demo(given.photos, given.out)
    return DONE


def _print_json(plain: dict[str, Any], out: Path | None) -> None:
    text = json.dumps(plain, allow_nan=False, indent=1, ensure_ascii=False)
    if out is not None:
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(text + "\n", encoding="utf-8")
    print(text)
