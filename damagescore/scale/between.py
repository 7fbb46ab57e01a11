"""The length between two clicked points, with its budget."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from damagescore.quantity import Contribution, Measured, from_budget
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

CLICK_PX = 1.0
"""How well an edge in the photo is hit, k = 1; a pixel of the screen adds to it."""


def ruler_length(line: Mapping[str, Any], scale: Scale) -> Measured:
    """Length of a kept measuring line: "points_px" of its ends, and "screen_px"."""
    a, b = (np.asarray(p, dtype=np.float64) for p in line["points_px"])
    return length_between(a, b, scale, screen_px=line["screen_px"])


def length_between(a: Points, b: Points, scale: Scale, *, screen_px: float) -> Measured:
    """Length on the surface between two clicked points, with its budget.

    Parameters
    ----------
    a, b : ndarray, shape (2,)
        Photo pixels.
    scale : Scale
    screen_px : float
        Photo pixels that one pixel of the screen covered when the points were clicked.

    Returns
    -------
    Measured
        In mm. Budget: "scale", and "clicks" for both ends.
    """
    # A straight line in the photo is bent on a cylinder: map it in short pieces.
    pieces = a + np.linspace(0, 1, 65)[:, None] * (b - a)
    length_mm = scale.surface.length_mm(pieces)
    mm_per_px = scale.surface.mm_per_px_at((a + b) / 2)
    u_click_mm = mm_per_px * float(np.hypot(CLICK_PX, screen_px / np.sqrt(12)))
    return from_budget(
        length_mm,
        [
            Contribution(source="scale", u=length_mm * scale.u_relative_at(pieces)),
            Contribution(source="clicks", u=float(np.sqrt(2)) * u_click_mm),
        ],
        unit="mm",
    )
