"""Small things that many tests need."""

from itertools import pairwise

import numpy as np
import pytest

from damagescore.edge.record import Edge, Layer
from damagescore.quantity import Measured
from damagescore.scale.record import Scale, SurfaceMap

MM_PER_PX = 0.04


def plain_scale(mm_per_px: float = MM_PER_PX, *, u_relative: float = 0.001) -> Scale:
    """A frontal, flat scale."""
    return Scale(
        method="two_points",
        surface=SurfaceMap(px_to_mm=np.diag([mm_per_px, mm_per_px, 1.0])),
        centre_px=(200.0, 150.0),
        u_relative=u_relative,
        tilt_deg=0.0,
        marks=(),
    )


def flat_edge(*, width: int = 400, height: int = 300, tops: tuple[int, ...] = ()) -> Edge:
    """Horizontal layers between the given rows, the first row the lowest."""
    rows = tops or (280, 200, 180, 100, 80, 20)
    x = np.linspace(0, width - 1, 20)
    thickness = Measured(value=1.0, u=0.01, unit="mm")
    layers = tuple(
        Layer(
            index=i, kind="rubber" if i % 2 == 0 else "shim",
            lower_px=np.column_stack([x, np.full_like(x, low)]),
            upper_px=np.column_stack([x, np.full_like(x, high)]), thickness=thickness,
        )
        for i, (low, high) in enumerate(pairwise(rows))
    )  # fmt: skip
    return Edge(layers=layers, shape=(height, width))


@pytest.fixture
def scale() -> Scale:
    return plain_scale()


@pytest.fixture
def edge() -> Edge:
    return flat_edge()
