"""Scale of a photo: marks, the map to the metric surface, uncertainty, printable cards."""

from damagescore.scale.between import length_between, ruler_length
from damagescore.scale.cards import write_cards
from damagescore.scale.find import TURN_LIMIT_DEG, find_scale, with_centre, with_cylinder
from damagescore.scale.record import Mark, Scale, SurfaceMap
from damagescore.scale.request import ScaleKind, ScaleRequest

__all__ = [
    "TURN_LIMIT_DEG",
    "Mark",
    "Scale",
    "ScaleKind",
    "ScaleRequest",
    "SurfaceMap",
    "find_scale",
    "length_between",
    "ruler_length",
    "with_centre",
    "with_cylinder",
    "write_cards",
]
