"""Commands on orders: job cards, a whole order, and a part before and after repair."""

import argparse
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from damagescore.batch import BY, measure_files, photos_in
from damagescore.errors import UsageError
from damagescore.inspection import add_photo, new_inspection
from damagescore.inspection.record import Inspection, Part
from damagescore.limits import read_limit_set
from damagescore.measurement import MeasureOptions
from damagescore.orders.before_after import changes, write_before_after
from damagescore.orders.file_names import place_of
from damagescore.orders.job_cards import write_job_cards
from damagescore.orders.order_file import is_order_folder, read_order, read_order_folder
from damagescore.orders.record import OrderPart, options_of
from damagescore.orders.run import run_order

DONE, REFUSED = 0, 3

Add = Callable[[argparse.ArgumentParser], None]
OptionsOf = Callable[[argparse.Namespace], MeasureOptions]


def add_order_commands(commands: Any, *, add_photo_options: Add, options: OptionsOf) -> None:
    """Add the commands to a parser's subcommands.

    Parameters
    ----------
    commands : subparsers of argparse
    add_photo_options : callable
        Adds the options that say how a photo is measured.
    options : callable
        Makes them from the arguments given.
    """
    _add_job_cards(commands)
    _add_order(commands)
    _add_repair(commands, add_photo_options, options)


def add_order_options(command: argparse.ArgumentParser) -> None:
    """Add the options that only orders have."""
    command.add_argument(
        "--scheduler", metavar="tcp://HOST:PORT",
        help="measure an order on the workers of this Dask scheduler",
    )  # fmt: skip


def assess_order(
    given: argparse.Namespace, folder: Path, usual: MeasureOptions | None = None
) -> int:
    """Assess a whole order folder; the exit code. `usual` is for parts that name no scale."""
    run = run_order(
        folder, limits=read_limit_set(given.limits), out=given.out, unit=given.units,
        workers=given.workers, scheduler=given.scheduler, usual=usual,
    )  # fmt: skip
    print(run.summary)
    return DONE if run.complete else REFUSED


def _add_job_cards(commands: Any) -> None:
    command = commands.add_parser(
        "jobcards", help="write printable job cards: a QR code beside the scale squares"
    )
    command.add_argument("--order", type=Path, required=True, metavar="FILE")
    command.add_argument("--out", type=Path, default=Path("jobcards"), metavar="DIR")
    command.set_defaults(run=_job_cards)


def _job_cards(given: argparse.Namespace) -> int:
    for path in write_job_cards(read_order(given.order), given.out):
        print(path)
    return DONE


def _add_order(commands: Any) -> None:
    command = commands.add_parser(
        "order", help="sort, measure and assess all photos of a work order; resumes"
    )
    command.add_argument("folder", type=Path, metavar="FOLDER")
    command.add_argument("--limits", type=Path, required=True, metavar="FILE")
    command.add_argument("--out", type=Path, required=True, metavar="DIR")
    command.add_argument("--units", choices=("mm", "in"), default="mm")
    command.add_argument("--workers", type=int, metavar="N", help="photos measured at once")
    add_order_options(command)
    command.set_defaults(run=_order)


def _order(given: argparse.Namespace) -> int:
    if not is_order_folder(given.folder):
        raise UsageError(
            f"{str(given.folder)!r} is no order: it has neither an order.toml nor a folder "
            "with photos for each part.",
            remedy="Write the order file as the README shows.",
        )
    return assess_order(given, given.folder)


def _add_repair(commands: Any, add_photo_options: Add, options: OptionsOf) -> None:
    command = commands.add_parser(
        "repair", help="compare a part before and after repair, photos side by side"
    )
    command.add_argument("before", type=Path, metavar="BEFORE", help="photos, or an order")
    command.add_argument("after", type=Path, metavar="AFTER", help="photos, or an order")
    command.add_argument("--out", type=Path, required=True, metavar="DIR")
    command.add_argument("--part-number", default="")
    command.add_argument("--serial-number", default="", help="of the part, in two orders")
    command.add_argument("--units", choices=("mm", "in"), default="mm")
    command.add_argument("--workers", type=int, metavar="N", help="photos measured at once")
    add_photo_options(command)
    command.set_defaults(run=lambda given: _repair(given, options(given)))


def _repair(given: argparse.Namespace, options: MeasureOptions) -> int:
    files: dict[str, Path] = {}
    sides = [_side(path, given, options, files) for path in (given.before, given.after)]
    written = write_before_after(
        sides[0], sides[1], lambda k: files[k].read_bytes(), given.out, unit=given.units
    )
    for change in changes(sides[0], sides[1]):
        print(f"{change.kind.label}, {change.of}: {change.reading}")
    for path in written:
        print(path)
    usable = all(p.measurement["quality"]["usable"] for side in sides for p in side.photos)
    return DONE if usable else REFUSED


def _side(
    path: Path, given: argparse.Namespace, options: MeasureOptions, files: dict[str, Path]
) -> Inspection:
    """Measure one side, nobody having reviewed it; photos are noted by their hash."""
    if is_order_folder(path):
        jobs = _jobs_in_order(path, given)
    else:
        jobs = {p: _placed(options, p) for p in photos_in([path])}
    part = Part(part_number=given.part_number, serial_number=given.serial_number)
    inspection = new_inspection(part, by=BY)
    measured = measure_files(list(jobs.items()), workers=given.workers)
    for (file, asked), measurement in zip(jobs.items(), measured, strict=True):
        inspection = _with(inspection, measurement, file, asked, files)
    if not inspection.photos:
        raise UsageError(f"{str(path)!r} has no readable photo of the part.",
                         remedy="Give the photos of one part.")  # fmt: skip
    return inspection


def _with(
    inspection: Inspection,
    measurement: Mapping[str, Any],
    file: Path,
    options: MeasureOptions,
    files: dict[str, Path],
) -> Inspection:
    sha256 = measurement["photo"]["sha256"]
    if sha256 is None:
        return inspection
    files[sha256] = file
    return add_photo(
        inspection, sha256=sha256, name=file.name, measurement=measurement,
        options=options.to_dict(), by=BY,
    )  # fmt: skip


def _placed(options: MeasureOptions, path: Path) -> MeasureOptions:
    """The options, with the clock position that the file name says."""
    clock, view = place_of(path.name)
    plain = options.to_dict() | {"clock_hours": clock}
    return MeasureOptions.from_dict(plain | ({"view": view} if view == "profile" else {}))


def _jobs_in_order(folder: Path, given: argparse.Namespace) -> dict[Path, MeasureOptions]:
    found = read_order_folder(folder)
    part = _named(found.order.parts, given)
    return {found.files[p.sha256]: options_of(part, p) for p in found.order.photos_of(part)}


def _named(parts: tuple[OrderPart, ...], given: argparse.Namespace) -> OrderPart:
    fitting = [
        p for p in parts
        if p.part.serial_number == given.serial_number
        and given.part_number in ("", p.part.part_number)
    ]  # fmt: skip
    if len(fitting) != 1:
        raise UsageError(
            f"The order has {len(fitting)} parts with serial {given.serial_number!r}.",
            remedy="Name one part with --serial-number and --part-number.",
        )
    return fitting[0]
