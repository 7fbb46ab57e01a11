"""The laminated edge: layers as curves and the area that may be judged."""

from damagescore.edge.build import edge_from_curves
from damagescore.edge.correct import (
    add_shim,
    boundaries_of,
    correct_layer,
    on_scale,
    remove_layer,
)
from damagescore.edge.find import find_edge
from damagescore.edge.region import with_region

__all__ = [
    "add_shim",
    "boundaries_of",
    "correct_layer",
    "edge_from_curves",
    "find_edge",
    "on_scale",
    "remove_layer",
    "with_region",
]
