"""Measuring centre lines: length, width, extent along the layer and share of it."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.centreline import cumulative_px, simplify
from damagescore.damage.strip import border, layer_frame
from damagescore.edge.record import Edge, Layer
from damagescore.photo.record import Photo
from damagescore.quantity import Contribution, Quantity, from_budget
from damagescore.scale.record import Scale

Points = NDArray[np.float64]


def measure_lines(
    photo: Photo,
    lines_px: Iterable[Points],
    scale: Scale,
    *,
    edge: Edge | None = None,
    kind: str = "crack",
    origin: str = "auto",
) -> dict[str, Quantity]:
    """Length of a crack or bond gap, all lines summed."""
    lines = [np.asarray(line, np.float64) for line in lines_px]
    value = sum(scale.surface.length_mm(simplify(line)) for line in lines)
    return {
        "length": from_budget(
            value, [Contribution(source="scale", u=value * scale.u_relative)], unit="mm"
        )
    }


def layer_of(lines_px: Iterable[Points], edge: Edge) -> int | None:
    """Index of the rubber layer that holds most of the lines' points; None outside."""
    points = np.round(np.vstack(list(lines_px))).astype(int)
    height, width = edge.shape
    x, y = np.clip(points[:, 0], 0, width - 1), np.clip(points[:, 1], 0, height - 1)
    under = edge.layer_map[y, x]
    counts = {layer.index: int(np.sum(under == layer.index)) for layer in edge.rubber}
    best = max(counts, key=lambda k: counts[k], default=None)
    return best if best is not None and counts[best] > 0 else None
