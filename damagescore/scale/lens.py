"""A lens profile: what a calibration found out about one camera at one setting."""

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from damagescore.errors import UsageError
from damagescore.photo.record import CameraFacts
from damagescore.scale.lens_map import LensMap

SCHEMA = "damagescore/lens/1"

FOCAL_AGREES = 0.02
"""EXIF focal lengths within this share are one setting of the zoom."""

FOCUS_SHARE = 0.25
"""A photo is held to be taken from the calibration's distance to within this share."""

LEAST_FOCUS = 0.005
UNKNOWN_FOCUS = 0.02
"""Half-width of the change of the focal length by focusing: at least, and where the focal
length in mm or the distance is not known (a phone at 200 mm: 5 mm / 200 mm)."""

BEND_BY_FOCUS = 0.1
"""Share of a lens's distortion that may change with the focus (common practice, no source)."""

LARGEST_SIZE_PX = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A lens profile; all pixels are those of the photo as the camera stored it.

    Uncertainties are standard ones (k = 1).

    Parameters
    ----------
    name : str
        What the user calls it; empty where it has no name.
    maker, model : str or None
        Of the camera, from EXIF.
    focal_mm : float or None
        Focal length from EXIF.
    size_px : tuple of int
        Width and height as stored.
    focal_px, u_focal_px : float
    centre_px, u_centre_px : tuple of float
        Principal point.
    distortion, u_distortion : tuple of float
        k1, k2, p1, p2 as in `LensMap`.
    u_bend : float
        Uncertainty of the radial shift in the photo's corner over the corner's distance
        from the middle: k1 and k2 err together, which their single ones do not show.
    rms_px : float
        Root mean square distance of the corners from where the profile puts them.
    photos, corners : int
        How many carried the calibration.
    coverage_percent : float
        Share of the photo's fields that held corners.
    distance_mm : tuple of float
        Nearest and farthest board.
    made : str
        Date of the calibration, ISO 8601.
    """

    name: str = ""
    maker: str | None = None
    model: str | None = None
    focal_mm: float | None = None
    size_px: tuple[int, int]
    focal_px: float
    u_focal_px: float
    centre_px: tuple[float, float]
    u_centre_px: tuple[float, float]
    distortion: tuple[float, float, float, float]
    u_distortion: tuple[float, float, float, float]
    u_bend: float
    rms_px: float
    photos: int
    corners: int
    coverage_percent: float
    distance_mm: tuple[float, float]
    made: str

    @property
    def camera(self) -> str:
        """Camera and focal length in words."""
        known = self.maker or self.model
        words = [_camera_words(self.maker, self.model)] if known else ["unnamed camera"]
        if self.focal_mm is not None:
            words.append(f"{self.focal_mm:g} mm")
        return ", ".join(words)

    @property
    def corner_bend(self) -> float:
        """Radial shift in the photo's corner over its distance from the middle."""
        k1, k2, *_ = self.distortion
        r2 = (math.hypot(*self.size_px) / 2 / self.focal_px) ** 2
        return k1 * r2 + k2 * r2**2

    @property
    def u_log_focal(self) -> float:
        """Relative u of the focal length on another photo, focused anew.

        A lens that is moved out to focus has its image at f / (1 - f / d): over a change
        of distance by `FOCUS_SHARE` that moves by about f / d times it (thin lens).
        """
        focus = UNKNOWN_FOCUS
        if self.focal_mm is not None:
            focus = max(LEAST_FOCUS, FOCUS_SHARE * self.focal_mm / self.distance_mm[0])
        return math.hypot(self.u_focal_px / self.focal_px, focus / math.sqrt(3))

    @property
    def u_corner_bend(self) -> float:
        """Standard uncertainty of `corner_bend` on another photo, focused anew."""
        return math.hypot(self.u_bend, BEND_BY_FOCUS * self.corner_bend)

    def misfit(self, facts: CameraFacts, size_px: tuple[int, int]) -> str:
        """Why the profile cannot serve a photo; empty where it can."""
        if facts.orientation not in _TURNS:
            return "the photo is stored mirrored"
        width, height = size_px if facts.orientation in (1, 3) else size_px[::-1]
        if (width, height) != self.size_px:
            own = f"{self.size_px[0]} x {self.size_px[1]} px"
            return (
                f"the photo was taken with {width} x {height} px, the profile holds for {own}"
            )
        if facts.model and self.model and facts.model != self.model:
            seen = _camera_words(facts.maker, facts.model)
            return f"the photo is of another camera ({seen}, not {self.camera})"
        if facts.focal_mm and self.focal_mm:
            apart = abs(math.log(facts.focal_mm / self.focal_mm))
            if apart > FOCAL_AGREES:
                return (
                    f"the zoom was set to {facts.focal_mm:g} mm, the profile holds for "
                    f"{self.focal_mm:g} mm"
                )
        return ""

    def unproven(self, facts: CameraFacts) -> str:
        """What the photo does not tell, so that nobody knows whether the profile is its own."""
        missing = [
            what
            for what, known in (
                ("camera", facts.model and self.model),
                ("focal length", facts.focal_mm and self.focal_mm),
            )
            if not known
        ]
        return f"nothing tells that the {' and '.join(missing)} agree" if missing else ""

    def map_for(self, orientation: int) -> LensMap:
        """The map for an upright photo that was stored with this EXIF orientation."""
        width, height = self.size_px
        x, y = self.centre_px
        k1, k2, p1, p2 = self.distortion
        turn = _TURNS[orientation]
        centre = {0: (x, y), 1: (height - 1 - y, x), 2: (width - 1 - x, height - 1 - y),
                  3: (y, width - 1 - x)}[turn]  # fmt: skip
        # (p2, p1) turns with the photo as any direction in it does
        across, down = {0: (p2, p1), 1: (-p1, p2), 2: (-p2, -p1), 3: (p1, -p2)}[turn]
        size = (width, height) if turn % 2 == 0 else (height, width)
        return LensMap(
            focal_px=self.focal_px, centre_px=centre, distortion=(k1, k2, down, across),
            middle_px=((size[0] - 1) / 2, (size[1] - 1) / 2),
        )  # fmt: skip

    def to_dict(self) -> dict[str, Any]:
        return {"schema": SCHEMA, **asdict(self)}

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Lens":
        """Read back what `to_dict` wrote, also after a way through JSON.

        Raises
        ------
        UsageError
            When it is no lens profile, or a value cannot be one of a lens.
        """
        schema = plain.get("schema", SCHEMA) if isinstance(plain, Mapping) else None
        if schema != SCHEMA:
            raise _no_profile(f"its schema is {schema!r}, not {SCHEMA!r}")
        try:
            given = {f.name: _plain_value(plain[f.name]) for f in fields(cls)}
        except KeyError as missing:
            raise _no_profile(f"{missing.args[0]!r} is missing") from None
        fault = _fault_in(given)
        if fault:
            raise _no_profile(fault)
        return cls(**given)


# Quarter turns to the right that make a stored photo upright, by EXIF orientation.
_TURNS: Mapping[int, int] = {1: 0, 6: 1, 3: 2, 8: 3}

_COUNTS = {"size_px": 2, "centre_px": 2, "u_centre_px": 2, "distortion": 4,
           "u_distortion": 4, "distance_mm": 2}  # fmt: skip
_NUMBERS = ("focal_px", "u_focal_px", "u_bend", "rms_px", "photos", "corners",
            "coverage_percent")  # fmt: skip


def read_lens(path: Path) -> Lens:
    """Read a lens profile.

    Raises
    ------
    UsageError
        When the file cannot be read or is no lens profile.
    """
    try:
        plain = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise UsageError(
            f"The lens profile {str(path)!r} cannot be read: {fault}.",
            remedy="Give the JSON file that calibrating wrote.",
        ) from None
    return Lens.from_dict(plain)


def lens_text(lens: Lens) -> str:
    """The profile as JSON text, as it is stored and downloaded."""
    return json.dumps(lens.to_dict(), indent=1, ensure_ascii=False) + "\n"


def _camera_words(maker: str | None, model: str | None) -> str:
    if maker and model and model.lower().startswith(maker.lower()):
        return model
    return " ".join(x for x in (maker, model) if x)


def _plain_value(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _no_profile(why: str) -> UsageError:
    return UsageError(
        f"This is no lens profile: {why}.",
        remedy="Give the JSON file that calibrating wrote.",
    )


def _fault_in(given: Mapping[str, Any]) -> str:
    """The first fault among the values of a profile; empty where there is none."""
    for name, count in _COUNTS.items():
        value = given[name]
        if not isinstance(value, tuple) or len(value) != count or not all(map(_finite, value)):
            return f"{name} is not {count} numbers"
    for name in _NUMBERS:
        if not _finite(given[name]) or given[name] < 0:
            return f"{name} is {given[name]!r}, not a number of 0 or more"
    return next((fault for fault, found in _senseless(given) if found), "")


def _senseless(given: Mapping[str, Any]) -> Iterator[tuple[str, bool]]:
    """What the values cannot be, and whether they are."""
    sides, focal_mm = given["size_px"], given["focal_mm"]
    whole = all(isinstance(n, int) and 0 < n <= LARGEST_SIZE_PX for n in sides)
    yield f"size_px is {sides}, no size of a photo", not whole
    reach = given["focal_px"] / max(1, *sides)
    yield f"focal_px is {given['focal_px']:g}, outside 0.1 to 100 widths", not 0.1 < reach < 100
    yield "distance_mm is not above 0", not min(given["distance_mm"]) > 0
    no_length = focal_mm is not None and not (_finite(focal_mm) and focal_mm > 0)
    yield f"focal_mm is {focal_mm!r}, not a length", no_length
    words = (given["name"], given["made"], given["maker"] or "", given["model"] or "")
    yield "a name is not text", not all(isinstance(w, str) for w in words)


def _finite(value: object) -> bool:
    return isinstance(value, (int, float)) and math.isfinite(value)
