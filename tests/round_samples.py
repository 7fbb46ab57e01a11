"""Measured photos of a round edge whose truth is known in closed form.

The camera is taken to look in parallel, so that a place turned by t from the facing line
lies at R sin(t) from it in the photo.
"""

import math
from typing import Any

import numpy as np

from damagescore.damage.record import Finding
from damagescore.measurement import MeasureOptions
from damagescore.quantity import Contribution, from_budget
from damagescore.scale import ScaleRequest
from damagescore.scale.record import Scale, SurfaceMap
from tests.conftest import flat_edge

RADIUS_MM = 32.0
MM_PER_PX = 0.1
MIDDLE_PX = 400.0
HALF_DEG = 45.0
"""What each photo shows to either side of its facing line."""

U_CLOCK_DEG = 1.0


def place_px(turn_deg: float) -> float:
    return MIDDLE_PX + RADIUS_MM * math.sin(math.radians(turn_deg)) / MM_PER_PX


def line(
    name: str, clock_deg: float, start_deg: float, end_deg: float, *, layer: int = 0,
    height: float = 0.5, kind: str = "crack",
) -> Finding:  # fmt: skip
    """A damage along the layer between two angles of the circumference, cut to the photo."""
    turns = [clock_deg - a for a in (start_deg, end_deg)]
    turns = [min(max((t + 180) % 360 - 180, -HALF_DEG), HALF_DEG) for t in turns]
    low, high = {0: (280, 200), 2: (180, 100), 4: (80, 20)}[layer]
    y = low + (high - low) * height
    x = np.linspace(place_px(turns[0]), place_px(turns[1]), 30)
    length_mm = math.radians(abs(turns[0] - turns[1])) * RADIUS_MM
    budget = (Contribution(source="scale", u=0.01), Contribution(source="tips", u=0.1))
    return Finding(
        id=name, kind=kind, layer=layer, strength=0.9,  # type: ignore[arg-type]
        lines_px=(np.column_stack([x, np.full_like(x, y)]),),
        quantities={"length": from_budget(length_mm, budget, unit="mm")},
    )  # fmt: skip


def patch(name: str, clock_deg: float, start_deg: float, end_deg: float) -> Finding:
    """A crumbled band of layer 2, half its thickness (4 mm) high, cut to the photo."""
    flat = line(name, clock_deg, start_deg, end_deg, layer=2)
    x = flat.lines_px[0][:, 0]
    top, low = np.full_like(x, 120.0), np.full_like(x, 160.0)
    outline = np.vstack([np.column_stack([x, top]), np.column_stack([x, low])[::-1]])
    length = flat.quantities["length"]
    area = from_budget(
        length.value * 4.0,
        (Contribution(source="outline", u=0.5),),
        unit="mm2",  # type: ignore[union-attr]
    )
    return Finding(
        id=name, kind="crumbling", layer=2, strength=0.8, polygon_px=outline,
        quantities={"area": area},
    )  # fmt: skip


def round_measurement(*findings: Finding, usable: bool = True) -> dict[str, Any]:
    """A photo that shows `HALF_DEG` to either side of its facing line."""
    edge = flat_edge(width=801)
    low, high = place_px(-HALF_DEG), place_px(HALF_DEG)
    region = [[low, 0.0], [high, 0.0], [high, 299.0], [low, 299.0]]
    surface = SurfaceMap(
        px_to_mm=np.diag([MM_PER_PX, MM_PER_PX, 1.0]), radius_mm=RADIUS_MM,
        facing_mm=MIDDLE_PX * MM_PER_PX,
    )  # fmt: skip
    scale = Scale(
        method="card", surface=surface, centre_px=(400.0, 150.0), u_relative=0.001,
        tilt_deg=0.0, marks=(),
    )  # fmt: skip
    frame = edge.to_dict() | {"region_px": region}
    why = [] if usable else [
        {"name": "focus", "outcome": "refuse", "value": None, "unit": "", "message": "Blurred."}
    ]  # fmt: skip
    return {
        "schema": "damagescore/measurement/1", "version": "test",
        "photo": {"path": "a.jpg", "sha256": "a" * 64, "width": 801, "height": 300},
        "view": "face", "scale": scale.to_dict(), "quality": {"usable": usable, "checks": why},
        "layers": frame.pop("layers"), "edge": frame,
        "findings": [f.to_dict() for f in findings], "totals": {},
    }  # fmt: skip


def round_options(clock_hours: float, *, radius_mm: float = RADIUS_MM) -> dict[str, Any]:
    return MeasureOptions(
        scale=ScaleRequest(edge_radius_mm=radius_mm), clock_hours=clock_hours,
        u_clock_deg=U_CLOCK_DEG,
    ).to_dict()  # fmt: skip
