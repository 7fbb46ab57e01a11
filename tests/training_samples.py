"""Entries of a small library, for tests."""

from hashlib import sha256
from typing import Any

import numpy as np

from damagescore.damage.record import Finding
from damagescore.quantity import Measured, NotMeasured
from damagescore.training.library import Entry

MM_PER_PX = 0.04


def crack(
    name: str = "crack-1", *, start=(100.0, 200.0), length_px=150.0, layer: int = 0
) -> Finding:
    line = np.array([start, (start[0] + length_px, start[1])])
    return Finding(
        id=name, kind="crack", layer=layer, strength=1.0, lines_px=(line,),
        quantities={
            "length": Measured(value=length_px * MM_PER_PX, u=0.05, unit="mm"),
            "width_max": Measured(value=0.16, u=0.02, unit="mm"),
        },
    )  # fmt: skip


def patch(name: str = "crumbling-1", *, corner=(400.0, 100.0), side_px=100.0) -> Finding:
    x, y = corner
    outline = np.array([[x, y], [x + side_px, y], [x + side_px, y + side_px], [x, y + side_px]])
    return Finding(
        id=name, kind="crumbling", layer=2, strength=0.9, polygon_px=outline,
        quantities={
            "area": Measured(value=(side_px * MM_PER_PX) ** 2, u=0.3, unit="mm2"),
            "share_of_layer": NotMeasured(reason="layer cut off", unit="%"),
        },
    )  # fmt: skip


def entry(name: str = "photo-1", *findings: Finding, **changed: Any) -> Entry:
    fields: dict[str, Any] = {
        "id": name, "version": 1, "photo_sha256": sha256(name.encode()).hexdigest(),
        "photo_name": f"{name}.jpg", "width": 800, "height": 600, "mm_per_px": MM_PER_PX,
        "measurement": {"layers": [], "findings": []}, "origin": "rendered",
        "findings": findings, "grade": 2, "scale_name": "0 to 5 by use of the limit",
        "scale_version": 1, "usage": 0.4, "call": "within", "agreed_by": ("R. Olin",),
        "agreed_at": "2026-11-20T10:00:00Z", "provenance": "rendered by scenes",
        "permission": "own photo, any use", "may_leave": True,
    }  # fmt: skip
    return Entry(**{**fields, **changed})
