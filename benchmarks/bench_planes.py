"""How often the check of the plane passes, warns and refuses, for marks laid well and badly.

No pixels: cameras, cards and layers are drawn, their points projected exactly and blurred by
the noise that the program reads from photos; scale and check then run as always. Distances
reach from 150 to 600 mm, densities from 20 to 58 px/mm: short and long lenses, which nobody
told the program of.
"""

import argparse
import math
from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from damagescore.photo.record import CameraFacts
from damagescore.quality.geometry import tilt_check, uncertainty_check
from damagescore.quality.planes import planes_check
from damagescore.quality.rule import QualityRule
from damagescore.scale.camera import camera_of
from damagescore.scale.dots_pose import pose_of_dots
from damagescore.scale.plane import plane_of_squares
from damagescore.scale.pose import Pose
from damagescore.scale.record import Scale, SurfaceMap
from damagescore.scale.rule_ends import EndLine
from damagescore.scale.rule_pose import pose_of_rule
from damagescore.scale.spread import Spread
from damagescore.scale.squares import Square
from damagescore.scenes.camera import Camera, aim_camera
from damagescore.scenes.spec import CameraSpec

Points = NDArray[np.float64]
Place = Callable[[Points], Points]

SIZE_PX = (2200, 1650)
MARK_NOISE_PX, BORDER_NOISE_PX = 0.08, 0.5

CASES = {
    "flat on the rubber": ((0.0, 0.0), (0.0, 0.0)),
    "turned 8 to 15 degrees": ((0.0, 2.0), (8.0, 15.0)),
    "turned 15 to 25 degrees": ((0.0, 2.0), (15.0, 25.0)),
    "5 to 12 mm off, turned 15 to 25": ((5.0, 12.0), (15.0, 25.0)),
    "12 to 18 mm off, turned 25 to 40": ((12.0, 18.0), (25.0, 40.0)),
    "5 to 12 mm off, parallel": ((5.0, 12.0), (0.0, 0.0)),
}
"""Stand-off in mm and turn about the upright axis in degrees, as ranges."""


def main(arguments: list[str] | None = None) -> None:
    """Print one row for each kind of mark and way to lay it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=60)
    draws = parser.parse_args(arguments).draws
    print("| mark | laid | passes | warned | refused | length error p95, where it passes |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name, read in READERS.items():
        for case in CASES:
            rng = np.random.default_rng(17)
            told = [_judged(read, case, rng) for _ in range(draws)]
            counts = [sum(o == k for o, _ in told) for k in ("pass", "warn", "refuse")]
            errors = [e for o, e in told if o == "pass"]
            p95 = f"{100 * float(np.percentile(errors, 95)):.1f} %" if errors else "none"
            shares = " | ".join(f"{100 * c / draws:.0f} %" for c in counts)
            print(f"| {name} | {case} | {shares} | {p95} |")


def _judged(read: "Reader", case: str, rng: np.random.Generator) -> tuple[str, float]:
    """The worst outcome of the checks of the scale, and the error of lengths on the rubber."""
    away, turn = CASES[case]
    density = float(rng.choice([22.0, 38.0, 56.0]) + rng.uniform(-2, 2))
    spec = CameraSpec(
        size_px=SIZE_PX, px_per_mm=density,
        distance_mm=float(np.exp(rng.uniform(math.log(150), math.log(600)))),
        yaw_deg=float(rng.uniform(-20, 20)), pitch_deg=float(rng.uniform(0, 15)),
        roll_deg=float(rng.uniform(-1.5, 1.5)),
    )  # fmt: skip
    camera = aim_camera(spec, np.array([0.0, 8.0 * 30 / density, 0.0]))
    angle = math.radians(rng.uniform(*turn) * rng.choice([-1, 1]))
    place = partial(_on_card, standoff_mm=rng.uniform(*away), turn=angle)
    pose, spread, method = read(camera, place, density, rng)
    scale = _scale(pose, spread, method)
    polygons = _layers(camera, density, rng)
    rule = QualityRule()
    checks = (
        planes_check(scale, polygons, rule=rule),
        tilt_check(scale, rule=rule),
        uncertainty_check(scale, rule=rule),
    )
    outcomes = {c.outcome for c in checks if c is not None}
    worst = next(o for o in ("refuse", "warn", "pass") if o in outcomes)
    return worst, _length_error(scale.surface, camera, density)


def _on_card(points_mm: Points, *, standoff_mm: float, turn: float) -> Points:
    """Points of the card, which lies below the layers, in the world."""
    x, y = points_mm.T
    return np.column_stack([x * math.cos(turn), y, standoff_mm + x * math.sin(turn)])


Reader = Callable[[Camera, Place, float, np.random.Generator], tuple[Pose, Spread, str]]


def _seen(camera: Camera, world: Points, rng: np.random.Generator) -> Points:
    return camera.project(world) + MARK_NOISE_PX * rng.standard_normal((len(world), 2))


def _by_squares(
    camera: Camera, place: Place, density: float, rng: np.random.Generator
) -> tuple[Pose, Spread, str]:
    known, _ = camera_of(CameraFacts(), SIZE_PX)
    side, apart = (5.0, 18.0) if density > 30 else (10.0, 45.0)
    square = side / 2 * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]], float)
    squares = [
        Square(
            family="aruco_4x4_50", id=i, u_corner_px=MARK_NOISE_PX,
            corners_px=_seen(camera, place(square + np.array([x, -side])), rng),
        )
        for i, x in enumerate((-apart / 2, apart / 2))
    ]  # fmt: skip
    plane = plane_of_squares(squares, sides_mm=[side, side], camera=known)
    return plane.pose, plane.spread, "squares"


def _by_dots(
    camera: Camera, place: Place, density: float, rng: np.random.Generator
) -> tuple[Pose, Spread, str]:
    known, _ = camera_of(CameraFacts(), SIZE_PX)
    apart = 20.0 if density > 30 else 40.0
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    rim = 2.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    first, second = (
        _seen(camera, place(rim + np.array([x, -4.0])), rng) for x in (-apart / 2, apart / 2)
    )
    fit = pose_of_dots((first, second), distance_mm=apart, camera=known)
    return fit.pose, fit.spread, "two_dots"


def _by_rule(
    camera: Camera, place: Place, density: float, rng: np.random.Generator
) -> tuple[Pose, Spread, str]:
    known, _ = camera_of(CameraFacts(), SIZE_PX)
    half = 10.0 if density > 30 else 30.0
    ticks = np.arange(-half, half + 1)
    lean = math.radians(0.1) * rng.standard_normal()  # no rule is perfectly square
    down = np.linspace(0.7, 2.7, 12)
    points = np.array([[x + d * lean, -2.0 - d] for x in ticks for d in down])
    ends = _seen(camera, place(np.array([[-half, -2.0], [half, -2.0]])), rng)
    fit = pose_of_rule(
        _seen(camera, place(points), rng), np.repeat(ticks + half, len(down)), camera=known,
        end_line=EndLine(points_px=ends, u_turn_rad=5e-4),
    )  # fmt: skip
    return fit.pose, fit.spread, "rule"


READERS: dict[str, Reader] = {
    "two squares": _by_squares, "two dots": _by_dots, "rule": _by_rule,
}  # fmt: skip


def _scale(pose: Pose, spread: Spread, method: str) -> Scale:
    budget = tuple(spread.lines("noise"))
    return Scale(
        method=method, surface=SurfaceMap(px_to_mm=pose.px_to_mm, eye_mm=pose.eye_mm),
        centre_px=(SIZE_PX[0] / 2, 0.4 * SIZE_PX[1]), marks=(), budget=budget,
        u_relative=math.hypot(*(c.u for c in budget)), tilt_deg=pose.tilt_deg,
        u_tilt_deg=spread.u_tilt_deg, u_log_focal=spread.u_log_focal,
    )  # fmt: skip


def _layers(camera: Camera, density: float, rng: np.random.Generator) -> list[Points]:
    """Outlines of five rubber layers, each border with a slope and a level of its own."""
    wide, thick = 0.48 * SIZE_PX[0] / density, 0.075 * SIZE_PX[1] / density
    s = np.linspace(-wide, wide, 60)
    borders = []
    for level in (k + side for k in range(5) for side in (0.0, 0.8)):
        off = BORDER_NOISE_PX / density * rng.standard_normal(2)
        height = thick * level + off[0] + off[1] * s / wide
        borders.append(camera.project(np.column_stack([s, height, np.zeros_like(s)])))
    pairs = zip(borders[::2], borders[1::2], strict=True)
    return [np.vstack([low, high[::-1]]) for low, high in pairs]


def _length_error(surface: SurfaceMap, camera: Camera, density: float) -> float:
    """Root mean square error of short lengths on the rubber, all over the stack."""
    reach, step = 0.35 * SIZE_PX[0] / density, 0.5
    errors = []
    for x, y in ((x, y) for x in (-reach, 0.0, reach) for y in (0.0, 0.4 * reach)):
        for ax, ay in ((step, 0.0), (0.0, step), (0.7 * step, 0.7 * step)):
            ends = np.array([[x - ax, y - ay, 0.0], [x + ax, y + ay, 0.0]])
            errors.append(surface.length_mm(camera.project(ends)) / (2 * math.hypot(ax, ay)))
    return float(np.sqrt(np.mean((np.array(errors) - 1) ** 2)))


if __name__ == "__main__":
    main()
