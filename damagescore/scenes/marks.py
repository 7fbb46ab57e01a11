"""Scale marks: what is printed on the card, where the card is, and its exact truth."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.errors import UsageError
from damagescore.scenes.camera import Camera
from damagescore.scenes.noise import Field, smooth_noise
from damagescore.scenes.spec import MarkSpec

Points = NDArray[np.float64]
Notes = list[dict[str, object]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A flat card in the world.

    Parameters
    ----------
    origin : ndarray, shape (3,)
        World place of the card's lower left corner.
    along, up : ndarray, shape (3,)
        Unit vectors of its sides.
    size_mm : tuple of float
        Width and height.
    pitch_mm : float
        Texel size of `print_`; its row 0 is the top.
    print_ : ndarray, shape (rows, columns), float32
        Reflectance of what is printed, 0 to 1.
    metal : bool
        True for a steel rule.
    """

    origin: Points
    along: Points
    up: Points
    size_mm: tuple[float, float]
    pitch_mm: float
    print_: Field
    metal: bool

    def to_world(self, points_mm: Points) -> Points:
        """Card coordinates (from the lower left corner), shape (N, 2), to world points."""
        points = np.asarray(points_mm, float)
        return np.asarray(self.origin + points[:, :1] * self.along + points[:, 1:2] * self.up)

    def foot_mm(self) -> Points:
        """World places of the lower left and right corners, shape (2, 3)."""
        return self.to_world(np.array([[0.0, 0.0], [self.size_mm[0], 0.0]]))

    def texel_homography(self, camera: Camera) -> Points:
        """Map texel (column, row, 1) to homogeneous pixels, shape (3, 3)."""
        rows = self.print_.shape[0]
        to_mm = np.array(
            [
                [self.pitch_mm, 0, 0.5 * self.pitch_mm],
                [0, -self.pitch_mm, (rows - 0.5) * self.pitch_mm],
                [0, 0, 1.0],
            ]
        )
        return np.asarray(camera.plane_homography(self.origin, self.along, self.up) @ to_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Layout:
    size_mm: tuple[float, float]
    pitch_mm: float
    print_: Field
    truth: Notes


def _blank(size_mm: tuple[float, float], pitch_mm: float, paper: float) -> Field:
    rows, cols = round(size_mm[1] / pitch_mm), round(size_mm[0] / pitch_mm)
    return np.full((rows, cols), paper, np.float32)


def _write(
    canvas: Field, text: str, centre: tuple[float, float], height_px: float, ink: float
) -> None:
    """Stroke lettering, drawn large and averaged down."""
    scale, thick, fine = height_px / 21.0 * 3, max(1, round(height_px * 0.42)), 3
    size, _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, scale, thick)
    pad = thick + 3
    box = np.zeros((size[1] + 2 * pad, size[0] + 2 * pad), np.uint8)
    cv2.putText(
        box,
        text,
        (pad, size[1] + pad),
        cv2.FONT_HERSHEY_SIMPLEX,
        scale,
        255,
        thick,
        cv2.LINE_AA,
    )
    small = cv2.resize(
        box, (box.shape[1] // fine, box.shape[0] // fine), interpolation=cv2.INTER_AREA
    ).astype(np.float32) / np.float32(255)
    x0, y0 = round(centre[0] - small.shape[1] / 2), round(centre[1] - small.shape[0] / 2)
    if x0 < 0 or y0 < 0 or y0 + small.shape[0] > canvas.shape[0]:
        return
    part = canvas[y0 : y0 + small.shape[0], x0 : x0 + small.shape[1]]
    small = small[:, : part.shape[1]]
    part += small * (np.float32(ink) - part)


def _squares(mark: MarkSpec, pitch_mm: float) -> _Layout:
    """Black squares of a fiducial family in a row; cells are whole texels."""
    april = mark.kind == "apriltag_36h11"
    family = cv2.aruco.DICT_APRILTAG_36h11 if april else cv2.aruco.DICT_4X4_50
    cells = 8 if april else 6
    pitch = mark.size_mm / (cells * max(4, round(mark.size_mm / cells / pitch_mm)))
    side = round(mark.size_mm / pitch)
    margin_mm = 0.26 * mark.size_mm if mark.margin_mm is None else mark.margin_mm
    margin = max(1, round(margin_mm / pitch))
    gap = round(mark.spacing_mm / pitch)
    count = len(mark.ids)
    width = (2 * margin + side + (count - 1) * gap) * pitch
    height = (side + 2 * margin) * pitch
    canvas = _blank((width, height), pitch, 0.82)
    truth: Notes = []
    dictionary = cv2.aruco.getPredefinedDictionary(family)
    for i, number in enumerate(mark.ids):
        bits = cv2.aruco.generateImageMarker(dictionary, number, cells)
        big = np.kron(bits > 127, np.ones((side // cells, side // cells), bool))
        x0 = margin + i * gap
        canvas[margin : margin + side, x0 : x0 + side] = np.where(big, 0.82, 0.035)
        left, low = x0 * pitch, margin * pitch
        corners = [
            [left, low + mark.size_mm],
            [left + mark.size_mm, low + mark.size_mm],
            [left + mark.size_mm, low],
            [left, low],
        ]
        truth.append(
            {"kind": mark.kind, "id": number, "size_mm": mark.size_mm, "corners": corners}
        )
    if mark.code:
        _draw_code(canvas, mark.code)
    elif count > 1 and gap > 2 * side:
        _write(
            canvas,
            f"{mark.size_mm:g} mm",
            (width / pitch / 2, height / pitch / 2),
            1.3 / pitch,
            0.06,
        )
    return _Layout(size_mm=(width, height), pitch_mm=pitch, print_=canvas, truth=truth)


def _draw_code(canvas: Field, text: str) -> None:
    """A QR code in the middle of a card; modules are whole texels, four of them quiet."""
    printed = np.asarray(cv2.QRCodeEncoder.create().encode(text)) < 128
    rows, columns = np.flatnonzero(printed.any(axis=1)), np.flatnonzero(printed.any(axis=0))
    modules = printed[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    texels = canvas.shape[0] // (len(modules) + 8)
    big = np.kron(modules, np.ones((texels, texels), bool))
    top, left = ((a - len(big)) // 2 for a in canvas.shape)
    canvas[top : top + len(big), left : left + len(big)] = np.where(big, 0.035, 0.82)


def _rule(mark: MarkSpec, pitch_mm: float) -> _Layout:
    """A steel rule with a line every pitch, longer every 5 and 10, numerals every 10."""
    step = mark.size_mm
    ticks = round(mark.spacing_mm / step) + 1
    pitch = step / max(12, round(step / pitch_mm))
    end, height = 5.0, 14.0
    width = (ticks - 1) * step + 2 * end
    canvas = _blank((width, height), pitch, 0.42)
    thick = max(2, round(0.16 / pitch / 2) * 2)
    for i in range(ticks):
        reach = 7.0 if i % 10 == 0 else 5.0 if i % 5 == 0 else 3.4
        x = round(end / pitch) + i * round(step / pitch)
        canvas[: round(reach / pitch), x - thick // 2 : x + thick // 2] = 0.03
        if i % 10 == 0:
            _write(canvas, f"{i * step:g}", (x, 9.6 / pitch), 1.9 / pitch, 0.03)
    ends = [
        [round(end / pitch) * pitch, height],
        [round(end / pitch) * pitch + (ticks - 1) * step, height],
    ]
    truth: Notes = [
        {
            "kind": "steel_rule",
            "size_mm": step,
            "pitch_mm": step,
            "ticks": ticks,
            "tick_labels": [0, (ticks - 1) * step],
            "length_mm": (ticks - 1) * step,
            "ends": ends,
        }
    ]
    return _Layout(size_mm=(width, height), pitch_mm=pitch, print_=canvas, truth=truth)


def _dots(mark: MarkSpec, pitch_mm: float) -> _Layout:
    """Two black discs on a card; `size_mm` is their centre distance."""
    diameter = 4.0
    width, height = mark.size_mm + 3 * diameter, 2.4 * diameter
    canvas = _blank((width, height), pitch_mm, 0.82)
    width, height = canvas.shape[1] * pitch_mm, canvas.shape[0] * pitch_mm
    x = (np.arange(canvas.shape[1]) + 0.5) * pitch_mm
    y = height - (np.arange(canvas.shape[0]) + 0.5) * pitch_mm
    centres = [[1.5 * diameter, height / 2], [1.5 * diameter + mark.size_mm, height / 2]]
    for cx, cy in centres:
        radius = np.hypot(x[None, :] - cx, y[:, None] - cy)
        ink = np.clip((diameter / 2 - radius) / pitch_mm + 0.5, 0, 1).astype(np.float32)
        canvas += ink * (np.float32(0.035) - canvas)
    truth: Notes = [
        {
            "kind": "two_dots",
            "size_mm": mark.size_mm,
            "diameter_mm": diameter,
            "centres": centres,
        }
    ]
    return _Layout(size_mm=(width, height), pitch_mm=pitch_mm, print_=canvas, truth=truth)


def make_card(
    mark: MarkSpec,
    *,
    pitch_mm: float,
    middle_world: Points,
    axes: tuple[Points, Points, Points],
) -> tuple[Card, Notes] | None:
    """Lay out a card and put its middle at `middle_world`; None for kind "none".

    `axes` are the world directions along the card, up, and towards the camera, before the
    card's own rotation and turn. Returns the card and its truth in card coordinates.
    """
    makers = {
        "aruco_4x4_50": _squares,
        "apriltag_36h11": _squares,
        "steel_rule": _rule,
        "two_dots": _dots,
    }
    if mark.kind == "none":
        return None
    if mark.kind not in makers:
        raise UsageError(
            f'There is no scale mark "{mark.kind}".',
            remedy=f"Use one of: none, {', '.join(makers)}.",
        )
    layout = makers[mark.kind](mark, pitch_mm)
    along, up, out = axes
    turn, roll = np.deg2rad(mark.turn_deg), np.deg2rad(mark.rotation_deg)
    turned = np.cos(turn) * along + np.sin(turn) * out
    side = np.cos(roll) * turned + np.sin(roll) * up
    rise = np.cos(roll) * up - np.sin(roll) * turned
    middle = middle_world + mark.standoff_mm * out
    origin = middle - layout.size_mm[0] / 2 * side - layout.size_mm[1] / 2 * rise
    card = Card(
        origin=origin,
        along=side,
        up=rise,
        size_mm=layout.size_mm,
        pitch_mm=layout.pitch_mm,
        print_=layout.print_,
        metal=mark.kind == "steel_rule",
    )
    return card, layout.truth


def mark_truth(
    card: Card, notes: Notes, camera: Camera, *, in_plane: bool, world: Points | None = None
) -> Notes:
    """Corners, tick ends or dot centres in world millimetres and in pixels.

    `world` (3, 3) turns the camera's world into the one that the truth is told in.
    """
    turn = np.eye(3) if world is None else world
    names = {"corners": "corners", "ends": "first_last_tick", "centres": "centres"}
    done = []
    for note in notes:
        record = {k: v for k, v in note.items() if k not in names}
        for key, name in names.items():
            if key in note:
                points = card.to_world(np.asarray(note[key], float))
                record[f"{name}_px"] = camera.project(points).round(3).tolist()
                record[f"{name}_world_mm"] = (points @ turn.T).round(4).tolist()
        record |= {"card": 0, "coplanar_with_surface": in_plane}
        done.append(record)
    return done


def card_radiance(card: Card, facing: float, rng: np.random.Generator) -> Field:
    """Printed card in even light of strength `facing`, with paper grain or brushed steel."""
    shape = card.print_.shape
    p = card.pitch_mm
    slow = smooth_noise(rng, shape, scale_px=12 / p)
    grain = smooth_noise(rng, shape, scale_px=max(1.3, 0.07 / p))
    if card.metal:
        brush = smooth_noise(rng, shape, scale_px=1.4, stretch=40)
        tone = 1 + 0.10 * brush + 0.05 * slow + 0.05 * grain
    else:
        stain = np.clip(smooth_noise(rng, shape, scale_px=5 / p) - 1.0, 0, 2)
        tone = 1 + 0.012 * slow + 0.018 * grain - 0.05 * stain
    field = card.print_ * np.clip(tone, 0.2, 2) + np.float32(0.004)
    return np.asarray(field * np.float32(facing), np.float32)
