"""The edge map: the unrolled edge by layer, with each finding at its place."""

from damagescore.ui.edge_map.mount import mount_map
from damagescore.ui.edge_map.plan import plan_of

__all__ = ["mount_map", "plan_of"]
