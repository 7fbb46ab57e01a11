"""The plan of an endurance test, as a TOML file of the user's."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, get_args

from damagescore.endurance.record import Ending
from damagescore.errors import UsageError
from damagescore.measurement import MeasureOptions
from damagescore.scale import ScaleRequest


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedLook:
    """A photo of one part, or a video of which `frames` are taken, at test hours.

    `until_hours` is that of a video's last frame; None for a photo. `day` is ISO 8601,
    empty where it was not told.
    """

    path: Path
    hours: float
    until_hours: float | None = None
    frames: int = 1
    day: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPart:
    """One part on test; `readings` is a CSV file with stiffness and temperature."""

    name: str
    group: str
    ending: Ending
    looks: tuple[PlannedLook, ...]
    readings: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The whole test.

    Parameters
    ----------
    limits : Path or None
        None takes the invented demonstration limits.
    show_hours : tuple of float
        At which photos stand side by side in the report; empty chooses first and last.
    """

    title: str
    spectrum: str
    limits: Path | None
    options: MeasureOptions
    parts: tuple[PlannedPart, ...]
    show_hours: tuple[float, ...] = ()


def read_plan(path: Path, *, fewest: int = 2) -> Plan:
    """Read a plan with at least so many parts; paths in it are beside the file.

    Raises
    ------
    UsageError
        When the file is missing, is no TOML, or says something else than a plan.
    """
    try:
        plain = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as fault:
        raise UsageError(
            f"There is no file {str(path)!r}.", remedy="Check the path."
        ) from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise UsageError(
            f"{path.name} is no TOML file: {fault}.", remedy="Correct that place."
        ) from fault
    folder = path.parent
    parts = plain.get("part")
    if not isinstance(parts, list) or len(parts) < fewest:
        raise UsageError(
            f"{path.name} names fewer than {fewest} parts.",
            remedy="Add a [[part]] table for each.",
        )
    limits = _text(plain, "limits", path.name)
    return Plan(
        title=_text(plain, "title", path.name) or path.stem,
        spectrum=_text(plain, "spectrum", path.name),
        limits=folder / limits if limits else None,
        options=_options(plain, path.name),
        parts=tuple(_part(p, folder, path.name, i) for i, p in enumerate(parts, start=1)),
        show_hours=tuple(
            _number(x, "show_hours", path.name) for x in _list(plain, "show_hours")
        ),
    )


def _options(plain: Mapping[str, Any], name: str) -> MeasureOptions:
    if "scale" not in plain:
        return MeasureOptions()
    request = ScaleRequest(
        kind=plain["scale"], size_mm=_number(plain.get("size_mm"), "size_mm", name)
    )
    return MeasureOptions(scale=request)


def _part(plain: Mapping[str, Any], folder: Path, name: str, number: int) -> PlannedPart:
    where = f"{name}, part {number}"
    called = _text(plain, "name", where)
    if not called:
        raise UsageError(f"{where} has no name.", remedy="Give it one.")
    ending = plain.get("ending", "running")
    if ending not in get_args(Ending):
        raise UsageError(
            f"{where}: ending is {str(ending)[:40]!r}.",
            remedy=f"Choose one of: {', '.join(get_args(Ending))}.",
        )
    readings = _text(plain, "readings", where)
    looks = [_look(x, folder, where) for x in _list(plain, "look")]
    if not looks and not readings:
        raise UsageError(
            f"{where} has neither looks nor readings.", remedy="Add [[part.look]] tables."
        )
    return PlannedPart(
        name=called, group=_text(plain, "group", where) or called, ending=ending,
        looks=tuple(sorted(looks, key=lambda x: x.hours)),
        readings=folder / readings if readings else None,
    )  # fmt: skip


def _look(plain: Mapping[str, Any], folder: Path, where: str) -> PlannedLook:
    photo, video = _text(plain, "photo", where), _text(plain, "video", where)
    if bool(photo) == bool(video):
        raise UsageError(
            f"{where}: a look names both or neither of photo and video.",
            remedy="Name one of them.",
        )
    hours = _number(plain.get("hours"), "hours", where)
    if photo:
        return PlannedLook(path=folder / photo, hours=hours, day=_date(plain, where))
    until = _number(plain.get("until_hours"), "until_hours", where)
    if until < hours:
        raise UsageError(f"{where}: until_hours is before hours.", remedy="Turn them round.")
    frames = int(_number(plain.get("frames", 5), "frames", where))
    return PlannedLook(path=folder / video, hours=hours, until_hours=until, frames=frames)


def _date(plain: Mapping[str, Any], where: str) -> str:
    found = plain.get("date", "")
    if isinstance(found, str) and not found:
        return ""
    if not isinstance(found, date):
        raise UsageError(
            f"{where}: date is {found!r}.", remedy="Write it as 2031-03-09, without quotes."
        )
    return found.isoformat()[:10]


def _list(plain: Mapping[str, Any], key: str) -> list[Any]:
    found = plain.get(key, [])
    if not isinstance(found, list):
        raise UsageError(
            f"{key} is no list.", remedy=f"Write it as [[{key}]] tables or [1, 2]."
        )
    return found


def _text(plain: Mapping[str, Any], key: str, where: str) -> str:
    found = plain.get(key, "")
    if not isinstance(found, str):
        raise UsageError(f"{where}: {key} is {found!r}, no text.", remedy="Put it in quotes.")
    return found.strip()


def _number(value: object, key: str, where: str) -> float:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not 0 <= value < 1e9:  # type: ignore[operator]
        raise UsageError(f"{where}: {key} is {value!r}.", remedy="Give a number of 0 or more.")
    return float(value)  # type: ignore[arg-type]
