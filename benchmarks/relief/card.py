"""Scale marks: what is printed on the card, where it lies, and the truth of each mark."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

DICTIONARIES = {
    "aruco_4x4_50": (cv2.aruco.DICT_4X4_50, 6),
    "apriltag_36h11": (cv2.aruco.DICT_APRILTAG_36h11, 8),
}
INK, PAPER = 0.035, 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A card in the plane z = `z_mm`: `print_` (rows, columns) reflectance, top row first.

    `centre_mm` (x, y), `turn_deg` anticlockwise; a texel is `texel_mm` wide.
    """

    kind: str
    print_: NDArray[np.float32]
    texel_mm: float
    centre_mm: tuple[float, float]
    turn_deg: float
    marks: tuple[dict[str, object], ...]
    z_mm: float = 0.0

    @property
    def size_mm(self) -> tuple[float, float]:
        rows, columns = self.print_.shape
        return columns * self.texel_mm, rows * self.texel_mm

    def to_world(self, on_card_mm: Points) -> Points:
        """Points (right, up) from the card's centre, shape (N, 2), to the world (N, 3)."""
        turn = math.radians(self.turn_deg)
        matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        flat = np.asarray(on_card_mm, float) @ matrix.T + self.centre_mm
        return np.column_stack([flat, np.full(len(flat), self.z_mm)])


@dataclass(slots=True, kw_only=True)
class _Sheet:
    """A sheet under print, origin at the centre, x right and y up in mm."""

    width_mm: float
    height_mm: float
    texel_mm: float
    ink: NDArray[np.float32]

    def texel(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Column and row of the texel border at a point."""
        rows, columns = self.ink.shape
        return columns / 2 + x_mm / self.texel_mm, rows / 2 - y_mm / self.texel_mm


def _sheet(width_mm: float, height_mm: float, texel_mm: float) -> _Sheet:
    shape = [2 * math.ceil(n / texel_mm / 2) for n in (height_mm, width_mm)]
    ink = np.zeros(shape, np.float32)
    return _Sheet(width_mm=width_mm, height_mm=height_mm, texel_mm=texel_mm, ink=ink)


def _fill(sheet: _Sheet, x: tuple[float, float], y: tuple[float, float]) -> None:
    """Ink a rectangle, with exact cover of the texels at its border."""
    (x0, y1), (x1, y0) = sheet.texel(x[0], y[0]), sheet.texel(x[1], y[1])
    rows, columns = sheet.ink.shape
    across = np.clip(
        np.minimum(x1, np.arange(columns) + 1) - np.maximum(x0, np.arange(columns)), 0, 1
    )
    down = np.clip(np.minimum(y1, np.arange(rows) + 1) - np.maximum(y0, np.arange(rows)), 0, 1)
    sheet.ink = np.maximum(sheet.ink, np.outer(down, across).astype(np.float32))


def _label(sheet: _Sheet, text: str, at_mm: tuple[float, float], tall_mm: float) -> None:
    x, y = sheet.texel(*at_mm)
    scale = tall_mm / sheet.texel_mm / 22
    layer = np.zeros(sheet.ink.shape, np.uint8)
    width = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, scale, 1)[0][0]
    thick = max(1, round(2.5 * scale))
    place = (round(x - width / 2), round(y))
    cv2.putText(layer, text, place, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, thick, cv2.LINE_AA)
    sheet.ink = np.maximum(sheet.ink, layer.astype(np.float32) / 255)


def _finished(
    sheet: _Sheet, kind: str, centre_mm: tuple[float, float], turn_deg: float,
    marks: list[dict[str, object]], rng: np.random.Generator,
) -> Card:  # fmt: skip
    """Print with a little unevenness of ink and paper."""
    rows, columns = sheet.ink.shape
    cloudy = cv2.resize(
        rng.normal(size=(12, 24)).astype(np.float32),
        (columns, rows),
        interpolation=cv2.INTER_CUBIC,
    )
    print_ = (PAPER + (INK - PAPER) * sheet.ink) * (1 + 0.015 * cloudy)
    return Card(
        kind=kind, print_=print_.astype(np.float32), texel_mm=sheet.texel_mm,
        centre_mm=centre_mm, turn_deg=turn_deg, marks=tuple(marks),
    )  # fmt: skip


def square_card(
    kind: str, *, side_mm: float, count: int, apart_mm: float, centre_mm: tuple[float, float],
    turn_deg: float, rng: np.random.Generator,
) -> Card:  # fmt: skip
    """One or two square fiducials; a cell is a whole number of texels, so sides are exact."""
    family, cells = DICTIONARIES[kind]
    fine = 40
    texel = side_mm / cells / fine
    quiet = side_mm / cells * 1.6
    width = side_mm + (count - 1) * apart_mm + 2 * quiet
    sheet = _sheet(width, side_mm + 2 * quiet, texel)
    marks: list[dict[str, object]] = []
    for i, number in enumerate(rng.choice(50, size=count, replace=False)):
        x = (i - (count - 1) / 2) * apart_mm
        column, row = (round(n) for n in sheet.texel(x - side_mm / 2, side_mm / 2))
        code = cv2.aruco.generateImageMarker(
            cv2.aruco.getPredefinedDictionary(family), int(number), cells
        )
        large = np.kron(code == 0, np.ones((fine, fine))).astype(np.float32)
        sheet.ink[row : row + cells * fine, column : column + cells * fine] = large
        rows, columns = sheet.ink.shape
        left, top = (column - columns / 2) * texel, (rows / 2 - row) * texel
        unit = np.array([[0, 0], [1, 0], [1, -1], [0, -1]])
        corners = np.array([left, top]) + side_mm * unit
        marks.append(
            {"kind": kind, "id": int(number), "size_mm": side_mm, "corners_mm": corners}
        )
    if count == 2 and apart_mm > 1.8 * side_mm:
        _label(sheet, f"{side_mm:g} mm", (0, -0.6), 1.4)
    return _finished(sheet, kind, centre_mm, turn_deg, marks, rng)


def rule_card(
    *, length_mm: int, centre_mm: tuple[float, float], turn_deg: float, rng: np.random.Generator
) -> Card:
    """A rule: ticks each millimetre from its upper border, longer at 5 and 10, with numbers."""
    sheet = _sheet(length_mm + 6, 11.0, 1 / 40)
    top = 5.4
    for tick in range(length_mm + 1):
        x = tick - length_mm / 2
        reach = 5.0 if tick % 10 == 0 else 3.8 if tick % 5 == 0 else 2.6
        _fill(sheet, (x - 0.09, x + 0.09), (top - reach, top))
        if tick % 10 == 0:
            _label(sheet, f"{tick // 10}", (x, -2.9), 2.0)
    ends = np.array([[-length_mm / 2, top], [length_mm / 2, top]])
    mark = {"kind": "steel_rule", "size_mm": 1.0, "pitch_mm": 1.0, "ticks": length_mm + 1,
            "length_mm": float(length_mm), "ends_mm": ends}  # fmt: skip
    return _finished(sheet, "steel_rule", centre_mm, turn_deg, [mark], rng)


def dot_card(
    *, apart_mm: float, diameter_mm: float, centre_mm: tuple[float, float], turn_deg: float,
    rng: np.random.Generator,
) -> Card:  # fmt: skip
    """Two black discs."""
    sheet = _sheet(apart_mm + 3 * diameter_mm, 2.4 * diameter_mm, 1 / 40)
    rows, columns = sheet.ink.shape
    x = (np.arange(columns) + 0.5 - columns / 2) * sheet.texel_mm
    y = (rows / 2 - np.arange(rows) - 0.5) * sheet.texel_mm
    for at in (-apart_mm / 2, apart_mm / 2):
        beyond = np.hypot(*np.meshgrid(x - at, y)) - diameter_mm / 2
        sheet.ink = np.maximum(sheet.ink, np.clip(0.5 - beyond / sheet.texel_mm, 0, 1)).astype(
            np.float32
        )
    _label(sheet, f"{apart_mm:g} mm", (0, -0.7), 1.4)
    centres = np.array([[-apart_mm / 2, 0.0], [apart_mm / 2, 0.0]])
    mark = {
        "kind": "two_dots",
        "size_mm": apart_mm,
        "diameter_mm": diameter_mm,
        "centres_mm": centres,
    }
    return _finished(sheet, "two_dots", centre_mm, turn_deg, [mark], rng)
