"""A work order in a file, or as a folder with a folder for each part."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from damagescore.batch import PHOTO_ENDINGS
from damagescore.errors import PhotoError, UsageError
from damagescore.inspection.record import Part
from damagescore.measurement import CLOCK_WITHIN_DEG
from damagescore.orders.record import Order, OrderPart, assign, new_order
from damagescore.orders.sorting import Incoming, codes_in, sort_photos
from damagescore.photo import read_photo
from damagescore.scale import ScaleRequest

ORDER_FILE = "order.toml"

SCALE_KEYS: Mapping[str, str] = {
    "square_side_mm": "squares",
    "rule_pitch_mm": "rule",
    "two_dots_mm": "two_dots",
}
"""Keys of a part that say how its scale is found, as the command line has them."""

_ORDER_KEYS = {"number", "customer_reference", "part", "photo"}
_PART_KEYS = {
    "part_number", "serial_number", "description", "position", "hours", "cycles",
    "edge_radius_mm", "standoff_mm", "clock_hours", "clock_within_deg", "layers", "folder",
    *SCALE_KEYS,
}  # fmt: skip
_PHOTO_KEYS = {"file", "serial_number", "part_number", "clock_hours", "view"}


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderFolder:
    """An order read from a folder.

    `files` gives each photo's path by its SHA-256, for photos that can be read or not.
    """

    order: Order
    files: Mapping[str, Path]


def is_order_folder(folder: Path) -> bool:
    """Whether a folder holds an order file, or no photos but folders with photos in them."""
    if not folder.is_dir():
        return False
    if (folder / ORDER_FILE).is_file():
        return True
    loose = any(p.suffix.lower() in PHOTO_ENDINGS for p in folder.iterdir())
    return not loose and bool(_part_folders(folder))


def read_order(path: Path) -> Order:
    """Read an order file without its photos.

    Parameters
    ----------
    path : Path
        The file, or the folder that holds `order.toml`.

    Raises
    ------
    UsageError
        When it is no order file, or names something unknown.
    """
    return _order(_read(path))


def read_order_folder(folder: Path) -> OrderFolder:
    """Read an order with its photos, each sorted to its part.

    Photos lie in the folder or in folders below it. A folder below it named as a part's
    serial number, as "part number_serial number" or by the part's `folder` stands for that
    part. Without an order file each folder with photos is a part: "part number_serial
    number", or the serial number alone.
    """
    if (folder / ORDER_FILE).is_file():
        plain = _read(folder)
        order = _order(plain)
    else:
        plain = _plain_of_folders(folder)
        order = _order(plain)
    folders = _folders_of_parts(plain, order)
    files: dict[str, Path] = {}
    incoming = []
    for path in _photos_below(folder):
        one = _incoming(path, folder, folders)
        incoming.append(one)
        files.setdefault(one.sha256, path)
    order = sort_photos(order, incoming)
    by_name = {p.name: p.sha256 for p in order.photos}
    for told in plain.get("photo", ()):
        order = _told(order, told, by_name)
    return OrderFolder(order=order, files=files)


def _read(path: Path) -> dict[str, Any]:
    file = path / ORDER_FILE if path.is_dir() else path
    if not file.is_file():
        raise UsageError(f"There is no order file {str(file)!r}.", remedy="Check the path.")
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise UsageError(
            f"The order file {file.name} cannot be read: {fault}.",
            remedy="Correct it there; it is a TOML file.",
        ) from fault


def _order(plain: Mapping[str, Any]) -> Order:
    _known(plain, _ORDER_KEYS, "The order")
    tables = plain.get("part", [])
    if not isinstance(tables, list) or not all(isinstance(t, Mapping) for t in tables):
        raise UsageError("The order's parts are no tables.", remedy="Begin each with [[part]].")
    return new_order(
        str(plain.get("number", "")),
        tuple(_part(t) for t in tables),
        customer_reference=str(plain.get("customer_reference", "")),
    )


def _known(table: Mapping[str, Any], keys: Iterable[str], what: str) -> None:
    strange = sorted(set(table) - set(keys))
    if strange:
        raise UsageError(
            f"{what} has the unknown entry {strange[0]!r}.",
            remedy=f"Use these: {', '.join(sorted(keys))}.",
        )


def _part(table: Mapping[str, Any]) -> OrderPart:
    _known(table, _PART_KEYS, "A part of the order")
    ways = [k for k in SCALE_KEYS if k in table]
    if len(ways) > 1:
        raise UsageError(
            f"A part has {' and '.join(ways)}.", remedy="Give one way to find the scale."
        )
    scale = ScaleRequest(
        kind=SCALE_KEYS[ways[0]] if ways else "auto",  # type: ignore[arg-type]
        size_mm=_number(table, ways[0]) if ways else None,
        edge_radius_mm=_number(table, "edge_radius_mm"),
        standoff_mm=_number(table, "standoff_mm") or 0.0,
    )
    part = Part(
        part_number=str(table.get("part_number", "")),
        serial_number=str(table.get("serial_number", "")),
        description=str(table.get("description", "")),
        position=str(table.get("position", "")),
        hours=_number(table, "hours"),
        cycles=_number(table, "cycles"),
    )
    hours, within = table.get("clock_hours", ()), _number(table, "clock_within_deg")
    if not isinstance(hours, list | tuple):
        raise UsageError("The clock_hours of a part are no list.", remedy="Give [12, 3, 6, 9].")
    return OrderPart(
        part=part,
        scale=scale,
        clock_hours=tuple(_as_number(h, "clock_hours") for h in hours),
        clock_within_deg=CLOCK_WITHIN_DEG if within is None else within,
        n_layers=int(table["layers"]) if "layers" in table else None,
    )


def _number(table: Mapping[str, Any], key: str) -> float | None:
    return _as_number(table[key], key) if key in table else None


def _as_number(value: object, key: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise UsageError(
            f"{key} is {str(value)[:40]!r}, not a number.", remedy="Give a number."
        )
    return float(value)


def _plain_of_folders(folder: Path) -> dict[str, Any]:
    parts = []
    for inside in _part_folders(folder):
        number, _, serial = inside.name.rpartition("_")
        parts.append({"part_number": number, "serial_number": serial, "folder": inside.name})
    return {"number": folder.resolve().name, "part": parts}


def _part_folders(folder: Path) -> list[Path]:
    return sorted(p for p in folder.iterdir() if p.is_dir() and any(_photos_below(p)))


def _photos_below(folder: Path) -> list[Path]:
    return sorted(
        p for p in folder.rglob("*") if p.suffix.lower() in PHOTO_ENDINGS and p.is_file()
    )


def _folders_of_parts(plain: Mapping[str, Any], order: Order) -> dict[str, str]:
    """By folder name: the key of its part; a name that two parts could have is left out."""
    names: dict[str, set[str]] = {}
    for table, part in zip(plain["part"], order.parts, strict=True):
        serial, number = part.part.serial_number, part.part.part_number
        for name in {serial, f"{number}_{serial}", str(table.get("folder", serial))}:
            names.setdefault(name, set()).add(part.key)
    return {name: keys.pop() for name, keys in names.items() if len(keys) == 1}


def _incoming(path: Path, folder: Path, folders: Mapping[str, str]) -> Incoming:
    name = path.relative_to(folder).as_posix()
    above = path.relative_to(folder).parts[:-1]
    part = folders.get(above[0], "") if above else ""
    try:
        photo = read_photo(path)
    except PhotoError as fault:
        # A file that is no photo has no hash of its content; its name stands for it.
        return Incoming(sha256=f"unread {name}", name=name, fault=fault.message)
    return Incoming(sha256=photo.sha256, name=name, codes=codes_in(photo), folder_part=part)


def _told(order: Order, table: Mapping[str, Any], by_name: Mapping[str, str]) -> Order:
    """Assign a photo that the order file itself names."""
    _known(table, _PHOTO_KEYS, "A photo of the order")
    name = str(table.get("file", ""))
    if name not in by_name:
        raise UsageError(
            f"The order names the photo {name[:80]!r}, which is not there.",
            remedy="Give its file with the folder below that of the order.",
        )
    serial = str(table.get("serial_number", ""))
    number = str(table.get("part_number", ""))
    fitting = [
        p.key for p in order.parts
        if p.part.serial_number == serial and number in ("", p.part.part_number)
    ]  # fmt: skip
    if len(fitting) != 1:
        raise UsageError(
            f"The photo {name[:80]!r} names {len(fitting)} parts of the order.",
            remedy="Give the serial number, and the part number where two parts share it.",
        )
    view = table.get("view", "face")
    if view not in ("face", "profile"):
        raise UsageError(f"The view is {view!r}.", remedy='Give "face" or "profile".')
    return assign(
        order, by_name[name], fitting[0], view=view, clock_hours=_number(table, "clock_hours")
    )
