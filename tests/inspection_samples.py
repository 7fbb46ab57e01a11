"""A small measured photo and an inspection of it, for several tests."""

from typing import Any

import numpy as np

from damagescore.damage.record import Finding
from damagescore.inspection import Inspection, Part, add_photo, new_inspection
from damagescore.limits import Criterion, LimitSet
from damagescore.quantity import Contribution, Measured, Quantity, from_budget
from tests.conftest import flat_edge, plain_scale

SHA = "a" * 64
AT = "2031-04-30T09:15:00+00:00"
BY = "R. Alder"


def mm(value: float, u: float = 0.0) -> Measured:
    return Measured(value=value, u=u, unit="mm")


def budgeted(value: float, *, scale: float, tip: float) -> Measured:
    lines = (Contribution(source="scale", u=scale), Contribution(source="tip", u=tip))
    return from_budget(value, lines, unit="mm")


def line_finding(
    name: str, x: tuple[float, float], *, y: float = 240.0, layer: int | None = 0,
    kind: str = "crack", **quantities: Quantity,
) -> Finding:  # fmt: skip
    length = budgeted(abs(x[1] - x[0]) * 0.04, scale=0.01, tip=0.05)
    return Finding(
        id=name, kind=kind, layer=layer, strength=0.9,  # type: ignore[arg-type]
        lines_px=(np.array([[x[0], y], [x[1], y]]),),
        quantities={"length": length, "width_max": mm(0.2, 0.02), **quantities},
    )  # fmt: skip


def patch_finding(name: str, *, area: float, layer: int = 2) -> Finding:
    square = np.array([[100.0, 120.0], [150.0, 120.0], [150.0, 170.0], [100.0, 170.0]])
    lines = (Contribution(source="scale", u=0.02), Contribution(source="outline", u=0.1))
    return Finding(
        id=name, kind="crumbling", layer=layer, strength=0.8, polygon_px=square,
        quantities={"area": from_budget(area, lines, unit="mm2")},
    )  # fmt: skip


def bulge_finding(layer: int, **quantities: Quantity) -> Finding:
    return Finding(id=f"bulge-{layer}", kind="bulge", layer=layer, strength=1.0,
                   quantities=quantities)  # fmt: skip


def measurement(
    *findings: Finding, view: str = "face", usable: bool = True, why: str = "Too blurred."
) -> dict[str, Any]:
    """A measurement on flat layers 0 to 4 with 400 columns at 0.04 mm per pixel."""
    frame = flat_edge().to_dict()
    check = {"name": "focus", "outcome": "refuse", "value": None, "unit": "", "message": why}
    return {
        "schema": "damagescore/measurement/1",
        "version": "test",
        "photo": {"path": "a.jpg", "sha256": SHA, "width": 400, "height": 300},
        "view": view,
        "scale": plain_scale().to_dict(),
        "quality": {"usable": usable, "checks": [] if usable else [check]},
        "layers": frame.pop("layers"),
        "edge": frame,
        "findings": [f.to_dict() for f in findings],
        "totals": {"crack_length": mm(float(len(findings))).to_dict()},
    }


def inspected(*findings: Finding, **how: Any) -> Inspection:
    """An inspection with one photo."""
    begun = new_inspection(Part(part_number="HV-2210"), by=BY, at=AT, inspection_id="one")
    return add_photo(
        begun, sha256=SHA, name="a.jpg", measurement=measurement(*findings, **how), by=BY, at=AT
    )


def limits(*criteria: Criterion) -> LimitSet:
    """Limits of invented numbers; one on crack length where none is given."""
    usual = Criterion(id="long", text="cracks over 5 mm", quantity="crack_length", limit=5.0,
                      unit="mm")  # fmt: skip
    return LimitSet(title="Invented", invented=True, criteria=criteria or (usual,))
