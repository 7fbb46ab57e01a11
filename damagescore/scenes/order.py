"""A small work order: three invented parts as they come in, each photo with its job card.

One flat part with cracks, one round part of which a third is never photographed, one flat
part that is sound; a photo without a card, and one out of focus.
"""

import math
from pathlib import Path

from damagescore.scenes.spec import (
    CameraSpec,
    CrackSpec,
    CrumblingSpec,
    LightSpec,
    MarkSpec,
    SceneSpec,
    SensorSpec,
    StackSpec,
)

NUMBER = "HVRW-1203"

ORDER = f"""# A work order of the demonstration: parts, numbers and hours are invented.
number = "{NUMBER}"
customer_reference = "Test stand 3, lot 12"

[[part]]
part_number = "HV-2210"
serial_number = "0131"
hours = 940
cycles = 3100

[[part]]
part_number = "HV-1418"
serial_number = "0021"
hours = 1260
edge_radius_mm = 32
clock_hours = [12, 2, 4, 6]

[[part]]
part_number = "HV-2210"
serial_number = "0132"
hours = 35
"""

CARDS = {
    "0131": "DJ1:HVRW-1203:HV-2210:0131::6B3F",
    "12": "DJ1:HVRW-1203:HV-1418:0021:12:02BC",
    "2": "DJ1:HVRW-1203:HV-1418:0021:2:3DA6",
    "4": "DJ1:HVRW-1203:HV-1418:0021:4:5D60",
    "6": "DJ1:HVRW-1203:HV-1418:0021:6:7D22",
}
"""Texts of the job cards: of part 0131, and of part 0021 by its clock position."""

RADIUS_MM = 32.0

SIZE_PX = (1700, 1275)

ROUND_DAMAGE: tuple[tuple[float, float, int, str], ...] = (
    (24.0, 46.0, 4, "mid_layer"),
    (150.0, 176.0, 8, "mid_layer"),
)
"""Cracks of the round part: first and last angle from 12 o'clock, degrees; layer; kind.
Each lies where two photos look, one of them seeing the second only in part."""


def order_specs() -> tuple[SceneSpec, ...]:
    """The photos of the order."""
    return (*_flat(), *(_round(hours) for hours in (12, 2, 4, 6)))


def write_order(folder: Path) -> Path:
    """Write the order's file beside its photos."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "order.toml"
    path.write_text(ORDER, encoding="utf-8")
    return path


def _camera(yaw_deg: float) -> CameraSpec:
    return CameraSpec(size_px=SIZE_PX, px_per_mm=20.0, yaw_deg=yaw_deg, pitch_deg=5)


def _flat() -> tuple[SceneSpec, ...]:
    stack = StackSpec(rubber_layers=6, rubber_mm=3.5, shim_mm=0.6)
    light = LightSpec(azimuth_deg=120, elevation_deg=42, direct=0.55)
    cracks = (
        CrackSpec(layer=4, s_mm=4, length_mm=31, width_mm=0.4),
        CrackSpec(layer=8, s_mm=-16, length_mm=12, width_mm=0.25),
    )
    carded = MarkSpec(ids=(40, 41), code=CARDS["0131"])
    plain = MarkSpec(ids=(40, 41))
    return (
        SceneSpec(name="IMG_2041", camera=_camera(3), stack=stack, light=light, mark=carded,
                  cracks=cracks, sensor=SensorSpec(noise=0.7)),
        SceneSpec(name=f"{NUMBER}_0131_2", camera=_camera(-4), stack=stack, light=light,
                  mark=plain, cracks=cracks, verdict="refuse", reason="out of focus",
                  sensor=SensorSpec(noise=0.7, blur_px=7.0)),
        SceneSpec(name=f"{NUMBER}_0132", camera=_camera(2), stack=stack, light=light,
                  mark=plain, sensor=SensorSpec(noise=0.7)),
        SceneSpec(name="IMG_2055", camera=_camera(-3), stack=stack, light=light, mark=plain,
                  crumbling=(CrumblingSpec(layer=2, s_mm=8, length_mm=12),),
                  sensor=SensorSpec(noise=0.7)),
    )  # fmt: skip


def _round(hours: float) -> SceneSpec:
    """A photo of the round part; to the right in it is against the clock."""
    cracks = tuple(
        CrackSpec(
            layer=layer, kind=kind, s_mm=_arc_mm(hours * 30 - (first + last) / 2),
            length_mm=math.radians(last - first) * RADIUS_MM, width_mm=0.4, kinks=0,
        )
        for first, last, layer, kind in ROUND_DAMAGE
        if abs(_turn(hours * 30 - (first + last) / 2)) < 60
    )  # fmt: skip
    return SceneSpec(
        name=f"IMG_21{hours:02.0f}",
        camera=_camera(1),
        stack=StackSpec(rubber_layers=6, rubber_mm=3.0, shim_mm=0.55, radius_mm=RADIUS_MM,
                        plate="turned"),
        light=LightSpec(azimuth_deg=150, elevation_deg=42, direct=0.55),
        mark=MarkSpec(ids=(40, 41), code=CARDS[f"{hours:g}"]),
        cracks=cracks,
        sensor=SensorSpec(noise=0.7),
    )  # fmt: skip


def _turn(angle_deg: float) -> float:
    return (angle_deg + 180) % 360 - 180


def _arc_mm(angle_deg: float) -> float:
    return math.radians(_turn(angle_deg)) * RADIUS_MM
