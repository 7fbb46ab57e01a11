"""Check camera, scale and program on a photo of the check target."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from damagescore.capability import sheet
from damagescore.damage import find_cracks
from damagescore.damage.width import linear_light
from damagescore.edge.record import Edge, Layer
from damagescore.errors import StudyError
from damagescore.photo.along import places_along
from damagescore.photo.exif import camera_name
from damagescore.photo.outline import signed_area
from damagescore.photo.record import Photo
from damagescore.quantity import Contribution, Measured, NotMeasured, Quantity, from_budget
from damagescore.scale.find import find_scale
from damagescore.scale.record import Scale
from damagescore.scale.request import ScaleRequest

Points = NDArray[np.float64]
Place = tuple[float, float]

PRINT_MM = 0.03
"""Standard uncertainty of where a good office printer puts a border (common practice, no
source)."""

UNKNOWN = "unknown camera"
"""Of photos that do not name their camera."""

LEAST_STEP = 0.05
"""Step of light at a border, of full white, below which it is not measured."""

CUTS = 25
"""Cuts across a border, to average noise and the paper's grain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """How far a reading may be off; our own defaults, the user states others.

    A reading whose uncertainty leaves it open whether it is within counts as it stands.
    """

    distance_percent: float = 0.3
    length_mm: float = 0.25
    width_mm: float = 0.1
    gap_mm: float = 0.08
    area_percent: float = 3.0
    step_mm: float = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One feature of the target: what it is, what was measured, how far it may be off."""

    name: str
    true: float
    measured: Quantity
    tolerance: float

    @property
    def off(self) -> float | None:
        return self.measured.value - self.true if isinstance(self.measured, Measured) else None

    @property
    def passed(self) -> bool:
        return self.off is not None and abs(self.off) <= self.tolerance

    def to_dict(self) -> dict[str, Any]:
        return {
            "name": self.name, "true": self.true, "measured": self.measured.to_dict(),
            "tolerance": self.tolerance, "passed": self.passed,
        }  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetCheck:
    """All readings of one photo of the target.

    Parameters
    ----------
    readings : tuple of Reading
    line_mm : float
        The check line by calliper; true sizes are the sheet's times line_mm / 100.
    mm_per_px : float
        At the middle of the target.
    camera : str
        Make and model, as the photo says.
    """

    readings: tuple[Reading, ...]
    line_mm: float
    mm_per_px: float
    camera: str
    tolerances: Tolerances

    @property
    def passed(self) -> bool:
        return all(reading.passed for reading in self.readings)

    def to_dict(self) -> dict[str, Any]:
        return {
            "readings": [r.to_dict() for r in self.readings], "line_mm": self.line_mm,
            "mm_per_px": self.mm_per_px, "camera": self.camera, "passed": self.passed,
            "tolerances": asdict(self.tolerances),
        }  # fmt: skip


def check_target(
    photo: Photo, *, line_mm: float, tolerances: Tolerances | None = None
) -> TargetCheck:
    """Measure the features of the check target and compare them with their true sizes.

    Parameters
    ----------
    photo : Photo
    line_mm : float
        The printed 100 mm line, measured by calliper.
    tolerances : Tolerances, optional

    Raises
    ------
    StudyError
        When the calliper value cannot be that of a true-size print, or the target's two
        squares are not both seen.
    ScaleError
        When no square is found at all.

    Notes
    -----
    Lines are found and measured as cracks are; borders lie where the light is half way
    between paper and ink.
    """
    if not 98 <= line_mm <= 102:
        raise StudyError(
            f"The 100 mm line is given as {line_mm:g} mm.",
            remedy='Print the target at 100 % ("actual size") and measure the line again.',
        )
    limits = tolerances or Tolerances()
    scale = find_scale(photo, ScaleRequest())
    view = _View(
        photo=photo,
        light=linear_light(photo.grey),
        scale=scale,
        to_px=_placed(scale),
        factor=line_mm / 100,
    )
    readings = (
        _distance(view, limits), *_lines(view, limits), *_gaps(view, limits),
        *_areas(view, limits), *_steps(view, limits),
    )  # fmt: skip
    return TargetCheck(
        readings=readings, line_mm=line_mm, mm_per_px=scale.mm_per_px,
        camera=camera_name(photo.camera) or UNKNOWN, tolerances=limits,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """The target in the photo.

    `light` is linear, so that a border lies half way; `to_px` maps sheet mm to pixels.
    """

    photo: Photo
    light: NDArray[np.float32]
    scale: Scale
    to_px: NDArray[np.float64]
    factor: float

    def px(self, points_mm: Any) -> Points:
        given = np.asarray(points_mm, np.float64).reshape(-1, 1, 2)
        moved: Points = np.array(cv2.perspectiveTransform(given, self.to_px), dtype=np.float64)
        return moved.reshape(-1, 2)

    def measured(self, value: float, noise: float, *, borders: int = 2) -> Measured:
        """Return a length in mm with the budget of its scale, print and reading."""
        lines = (
            Contribution(source="scale", u=abs(value) * self.scale.u_relative),
            Contribution(source="print", u=PRINT_MM * borders**0.5),
            Contribution(source="reading", u=noise),
        )
        return from_budget(value, lines, unit="mm")


def _placed(scale: Scale) -> NDArray[np.float64]:
    """Map from sheet mm to pixels by the corners of both squares."""
    seen = {mark.id: mark for mark in scale.marks}
    missing = [n for n in sheet.SQUARE_PLACES if n not in seen]
    if missing:
        raise StudyError(
            f"Square {missing[0]} of the check target is not seen.",
            remedy="Photograph the whole target, both squares sharp and uncovered.",
        )
    corners_mm, corners_px = [], []
    for number, (x, y) in sheet.SQUARE_PLACES.items():
        side = sheet.SIDE
        corners_mm += [(x, y + side), (x + side, y + side), (x + side, y), (x, y)]
        corners_px.append(seen[number].corners_px)
    found, _ = cv2.findHomography(np.array(corners_mm), np.vstack(corners_px))
    to_px: NDArray[np.float64] = np.array(found, dtype=np.float64)
    return to_px


def _distance(view: _View, limits: Tolerances) -> Reading:
    """Distance of the two squares' middles: the scale itself does not use it."""
    middles = [
        view.scale.surface.to_mm(m.corners_px).mean(axis=0)
        for m in view.scale.marks
        if m.id in sheet.SQUARE_PLACES
    ]
    (x0, _), (x1, _) = sheet.SQUARE_PLACES.values()
    true = (x1 - x0) * view.factor
    value = float(np.hypot(*(middles[1] - middles[0])))
    return Reading(
        name="distance of the squares", true=true, measured=view.measured(value, 0.0),
        tolerance=true * limits.distance_percent / 100,
    )  # fmt: skip


def _lines(view: _View, limits: Tolerances) -> Iterator[Reading]:
    left, bottom, right, top = sheet.FIELD
    across = np.linspace(left, right, 20)
    field = Layer(
        index=0, kind="rubber", thickness=NotMeasured(reason="a printed sheet", unit="mm"),
        upper_px=view.px([(x, top) for x in across]),
        lower_px=view.px([(x, bottom) for x in across]),
    )  # fmt: skip
    shape = view.photo.grey.shape
    edge = Edge(layers=(field,), shape=(shape[0], shape[1]))
    found = find_cracks(view.photo, edge, view.scale)
    for line in sheet.LINES:
        middle = view.px([((line.x + line.x2) / 2, (line.y + line.y2) / 2)])[0]
        reach = 0.7 / view.scale.mm_per_px  # the lines are 3 mm apart
        near = [
            f for f in found
            if float(np.hypot(*(places_along(f.lines_px) - middle).T).min()) < reach
        ]  # fmt: skip
        yield Reading(
            name=f"{line.name}: length", true=line.length * view.factor,
            measured=_of(near, "length"), tolerance=limits.length_mm,
        )  # fmt: skip
        yield Reading(
            name=f"{line.name}: width", true=line.width * view.factor,
            measured=_of(near, "width_max"), tolerance=limits.width_mm,
        )  # fmt: skip


def _of(near: list[Any], name: str) -> Quantity:
    if len(near) != 1:
        what = "not found" if not near else f"found in {len(near)} pieces"
        return NotMeasured(reason=f"the line was {what}", unit="mm")
    return near[0].quantities[name]  # type: ignore[no-any-return]


def _crossing(view: _View, start_mm: Place, end_mm: Place) -> Points | None:
    """Place (2,) in surface mm where the light is half way between the ends of a cut."""
    start, end = view.px([start_mm, end_mm])
    count = int(4 * np.hypot(*(end - start))) + 2
    at = np.linspace(0, 1, count)
    cut = start + at[:, None] * (end - start)
    values = cv2.remap(
        view.light, cut[None, :, 0].astype(np.float32),
        cut[None, :, 1].astype(np.float32), cv2.INTER_LINEAR,
    )[0]  # fmt: skip
    edge = max(2, count // 6)
    first, last = float(np.median(values[:edge])), float(np.median(values[-edge:]))
    if abs(first - last) < LEAST_STEP:
        return None
    share = (values - first) / (last - first)
    over = int(np.argmax(share >= 0.5))
    if over == 0:
        return None
    part = (0.5 - share[over - 1]) / (share[over] - share[over - 1])
    place = cut[over - 1] + part * (cut[over] - cut[over - 1])
    return np.asarray(view.scale.surface.to_mm(place[None])[0])


def _border(view: _View, cuts: Sequence[tuple[Place, Place]]) -> Points:
    """Places (N, 2) in surface mm where cuts cross a border."""
    found = [_crossing(view, a, b) for a, b in cuts]
    kept = [p for p in found if p is not None]
    return np.array(kept) if len(kept) >= 0.8 * len(cuts) else np.zeros((0, 2))


def _gaps(view: _View, limits: Tolerances) -> Iterator[Reading]:
    for left, right in sheet.GAPS:
        true = right.x - left.x - left.width
        rows = left.y + np.linspace(0.15, 0.85, CUTS) * left.height
        # A cut goes from the middle of the gap well into the black beside it.
        middle = left.x + left.width + true / 2
        sides = [
            _border(view, [((middle, y), (middle + reach, y)) for y in rows])
            for reach in (-true / 2 - 0.6, true / 2 + 0.6)
        ]
        yield Reading(
            name=right.name, true=true * view.factor, measured=_apart(view, *sides),
            tolerance=limits.gap_mm,
        )  # fmt: skip


def _apart(view: _View, first: Points, second: Points) -> Quantity:
    if len(first) < CUTS // 2 or len(second) < CUTS // 2:
        return NotMeasured(reason="its borders are not sharp enough to be seen", unit="mm")
    direction, middle = _line_through(first)
    away = (second - middle) @ np.array([-direction[1], direction[0]])
    own = (first - middle) @ np.array([-direction[1], direction[0]])
    noise = float(np.hypot(away.std(), own.std()) / CUTS**0.5)
    return view.measured(abs(float(away.mean())), noise)


def _line_through(points: Points) -> tuple[Points, Points]:
    vx, vy, x, y = cv2.fitLine(points.astype(np.float32), cv2.DIST_L2, 0, 1e-4, 1e-4).ravel()
    return np.array([vx, vy], np.float64), np.array([x, y], np.float64)


def _areas(view: _View, limits: Tolerances) -> Iterator[Reading]:
    for patch in sheet.AREAS:
        true = patch.width * patch.height * view.factor**2
        yield Reading(
            name=patch.name, true=true, measured=_area(view, patch),
            tolerance=true * limits.area_percent / 100,
        )  # fmt: skip


def _area(view: _View, patch: sheet.Patch) -> Quantity:
    margin = 1.0  # mm of white around the patch
    left, right = patch.x - margin, patch.x + patch.width + margin
    bottom, top = patch.y - margin, patch.y + patch.height + margin
    corners = view.px([(left, bottom), (right, bottom), (left, top), (right, top)])
    (x0, y0), (x1, y1) = np.floor(corners.min(axis=0)), np.ceil(corners.max(axis=0))
    part = view.light[max(int(y0), 0) : int(y1), max(int(x0), 0) : int(x1)]
    if part.size == 0:
        return NotMeasured(reason="it lies outside the photo", unit="mm2")
    part = np.asarray(cv2.GaussianBlur(part, (0, 0), 0.7), np.float32)
    dark, light = np.percentile(part, [15, 90])
    outlines: list[Points] = find_contours(part, (dark + light) / 2)  # type: ignore[no-untyped-call]
    if light - dark < LEAST_STEP or not outlines:
        return NotMeasured(reason="it does not stand out from the paper", unit="mm2")
    longest = max(outlines, key=len)
    at = view.scale.surface.to_mm(longest[:, ::-1] + (max(x0, 0), max(y0, 0)))
    value, around = abs(signed_area(at)), 2 * (patch.width + patch.height)
    lines = (
        Contribution(source="scale", u=2 * value * view.scale.u_relative),
        Contribution(source="print", u=around * PRINT_MM / 2),
    )
    return from_budget(value, lines, unit="mm2")


def _steps(view: _View, limits: Tolerances) -> Iterator[Reading]:
    stairs = sheet.STAIRS
    width = stairs.tread * len(stairs.steps)
    along = stairs.x + np.linspace(0.03, 0.97, 3 * CUTS) * width
    base = _border(view, [((x, stairs.y - 1.5), (x, stairs.y + 1.5)) for x in along])
    heights = [_height(view, base, k) for k in range(len(stairs.steps))]
    for k, (lower, upper) in enumerate(pairwise(heights), start=1):
        true = stairs.steps[k] - stairs.steps[k - 1]
        measured: Quantity
        if lower is None or upper is None:
            measured = NotMeasured(reason="its borders are not sharp enough", unit="mm")
        else:
            noise = float(np.hypot(lower[1], upper[1]))
            measured = view.measured(upper[0] - lower[0], noise)
        yield Reading(
            name=f"step {true:.1f} mm", true=true * view.factor, measured=measured,
            tolerance=limits.step_mm,
        )  # fmt: skip


def _height(view: _View, base: Points, k: int) -> tuple[float, float] | None:
    """Mean height of a tread over the lower border, and its standard error, mm."""
    stairs = sheet.STAIRS
    if len(base) < CUTS:
        return None
    direction, middle = _line_through(base)
    along = stairs.x + (k + np.linspace(0.15, 0.85, CUTS)) * stairs.tread
    top = stairs.y + stairs.height + stairs.steps[k]
    found = _border(view, [((x, top + 1.5), (x, top - 1.5)) for x in along])
    if len(found) == 0:
        return None
    away = np.abs((found - middle) @ np.array([-direction[1], direction[0]]))
    return float(away.mean()), float(away.std() / len(found) ** 0.5)
