"""The command `calibrate`: a lens profile from photos of the printed board."""

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from damagescore import __version__
from damagescore.batch import photos_in
from damagescore.photo import read_photo
from damagescore.scale.board import SQUARE_MM
from damagescore.scale.calibrate import calibrate, view_of
from damagescore.scale.calibration_rule import judge
from damagescore.scale.lens import lens_text

SCHEMA = "damagescore/calibration/1"

DONE, REFUSED = 0, 3


def add_calibrate(commands: Any, length: Callable[[str], float]) -> None:
    """Add the command; `length` reads a length in mm."""
    command = commands.add_parser(
        "calibrate", help="calibrate a camera by photos of the printed board"
    )
    command.add_argument("photos", type=Path, nargs="+", metavar="PHOTO", help="or a folder")
    command.add_argument(
        "--out", type=Path, required=True, metavar="FILE.json", help="write the profile here"
    )
    command.add_argument(
        "--square-side", type=length, default=SQUARE_MM, metavar="MM",
        help=f"side of a square as measured on the print ({SQUARE_MM:g})",
    )  # fmt: skip
    command.add_argument("--name", default="", help="what the profile shall be called")
    command.set_defaults(run=run_calibrate)


def run_calibrate(given: argparse.Namespace) -> int:
    """Calibrate and print one JSON object; the profile is written only where it is good."""
    views = [
        view_of(read_photo(path), square_mm=given.square_side)
        for path in photos_in(given.photos)
    ]
    found = calibrate(views, name=given.name or given.out.stem)
    checks = judge(found)
    faults = [c.message for c in checks if not c.passed]
    plain = {
        "schema": SCHEMA,
        "version": __version__,
        "usable": not faults,
        "checks": [c.to_dict() for c in checks],
        "lens": found.lens.to_dict(),
        "photos": [v.to_dict() for v in found.views],
        "corners_in_fields": found.fields.tolist(),
    }
    if not faults:  # before anything is printed: a pipe may close early
        given.out.parent.mkdir(parents=True, exist_ok=True)
        given.out.write_text(lens_text(found.lens), encoding="utf-8")
    print(json.dumps(plain, allow_nan=False, indent=1, ensure_ascii=False))
    if faults:
        print(f"damagescore: {' '.join(faults)}", file=sys.stderr)
    return REFUSED if faults else DONE
