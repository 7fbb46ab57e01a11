"""The laminated edge: layers as curves and the area that may be judged."""

from damagescore.edge.build import correct_layer, edge_from_curves
from damagescore.edge.find import find_edge

__all__ = ["correct_layer", "edge_from_curves", "find_edge"]
