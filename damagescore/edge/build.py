"""An `Edge` from boundary curves: layers, and thickness with its budget."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.record import Edge, Layer, LayerKind
from damagescore.errors import EdgeError
from damagescore.quantity import Contribution, NotMeasured, Quantity, from_budget, rectangular
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

LOCATION_BIAS_PX = 0.5
"""Half width of what the choice of edge model may shift a boundary by."""

WAVE_MM = 7.0
"""Length along the layer after which the thickness counts as independent."""


def edge_from_curves(
    curves_px: Sequence[Points],
    scale: Scale,
    *,
    shape: tuple[int, int],
    noise_px: Sequence[float] | None = None,
    keep_out_px: Sequence[Points] = (),
    direction_deg: float = 0.0,
    first_kind: LayerKind = "rubber",
) -> Edge:
    """Build the edge from its boundaries, the lowest first.

    Parameters
    ----------
    curves_px : sequence of ndarray, shape (N, 2)
        Boundaries from the bottom to the top of the photo, each left to right.
        Two neighbours bound one layer, rubber and shim in turn.
    scale : Scale
    shape : tuple of int
        Photo height and width.
    noise_px : sequence of float or None
        Standard uncertainty of the mean position of each boundary.
    keep_out_px : sequence of ndarray
        Areas that must not be judged.
    direction_deg : float
    first_kind : "rubber" or "shim"

    Raises
    ------
    EdgeError
        With fewer than two boundaries.
    """
    if len(curves_px) < 2:
        raise EdgeError(
            f"A layer needs two boundaries, {len(curves_px)} given.",
            remedy="Draw the lower and the upper boundary.",
        )
    noise = list(noise_px) if noise_px is not None else [0.3] * len(curves_px)
    kinds: tuple[LayerKind, LayerKind] = (
        ("rubber", "shim") if first_kind == "rubber" else ("shim", "rubber")
    )
    layers = tuple(
        _layer(i, kinds[i % 2], curves_px[i + 1], curves_px[i], scale, noise[i : i + 2])
        for i in range(len(curves_px) - 1)
    )
    return Edge(
        layers=layers,
        shape=shape,
        keep_out_px=tuple(keep_out_px),
        direction_deg=direction_deg,
    )


def _layer(
    index: int,
    kind: LayerKind,
    upper: Points,
    lower: Points,
    scale: Scale,
    noise_px: Sequence[float],
) -> Layer:
    return Layer(
        index=index,
        kind=kind,
        upper_px=upper,
        lower_px=lower,
        thickness=thickness_of(upper, lower, scale, noise_px=noise_px),
    )


def thickness_of(
    upper_px: Points, lower_px: Points, scale: Scale, *, noise_px: Sequence[float] = (0.3, 0.3)
) -> Quantity:
    """Mean thickness between two curves: distances in mm along the layer.

    The budget holds the scale, the noise of both curves, the choice of edge
    model (rectangular, GUM 4.3.7) and the waviness of the layer.
    """
    if len(upper_px) < 2 or len(lower_px) < 2:
        return NotMeasured(reason="The layer is not visible over a length.", unit="mm")
    upper, lower = scale.surface.to_mm(upper_px), scale.surface.to_mm(lower_px)
    gaps, length = _gaps(upper, lower)
    if len(gaps) == 0:
        return NotMeasured(reason="The boundaries do not lie over one another.", unit="mm")
    mm_per_px = scale.surface.mm_per_px_at(upper_px[len(upper_px) // 2])
    value = float(gaps.mean())
    pieces = max(length / WAVE_MM, 1.0)
    budget = (
        Contribution(source="scale", u=value * scale.u_relative_across),
        Contribution(source="boundary noise", u=math.hypot(*noise_px[:2]) * mm_per_px),
        Contribution(
            source="edge model", u=math.sqrt(2) * rectangular(LOCATION_BIAS_PX) * mm_per_px
        ),
        Contribution(source="waviness", u=float(gaps.std()) / math.sqrt(pieces)),
    )
    return from_budget(value, budget, unit="mm")


def _gaps(upper: Points, lower: Points) -> tuple[Points, float]:
    """Distances across (M,) between two polylines in mm, and the common length."""
    chord = (upper[-1] - upper[0]) + (lower[-1] - lower[0])
    along = chord / (np.hypot(*chord) + 1e-12)
    across = np.array([-along[1], along[0]])
    a, b = upper @ along, lower @ along
    low, high = max(a.min(), b.min()), min(a.max(), b.max())
    if high - low < 1e-6:
        return np.empty(0), 0.0
    at = np.linspace(low, high, 200)
    up = np.interp(at, *_rising(a, upper @ across))
    down = np.interp(at, *_rising(b, lower @ across))
    middle = np.gradient((up + down) / 2, at)
    return np.abs(down - up) / np.hypot(1.0, middle), float(high - low)


def _rising(at: Points, values: Points) -> tuple[Points, Points]:
    order = np.argsort(at)
    return at[order], values[order]
