"""Scale of a photo: marks, the map to the metric surface, uncertainty, printable cards."""

from damagescore.scale.between import length_between, ruler_length
from damagescore.scale.cards import write_cards
from damagescore.scale.find import find_scale, with_centre, with_cylinder
from damagescore.scale.lens import Lens, lens_text, read_lens
from damagescore.scale.record import Mark, Scale, SurfaceMap
from damagescore.scale.request import ScaleKind, ScaleRequest
from damagescore.scale.round_edge import TURN_LIMIT_DEG, limit_lines_px

__all__ = [
    "TURN_LIMIT_DEG",
    "Lens",
    "Mark",
    "Scale",
    "ScaleKind",
    "ScaleRequest",
    "SurfaceMap",
    "find_scale",
    "length_between",
    "lens_text",
    "limit_lines_px",
    "read_lens",
    "ruler_length",
    "with_centre",
    "with_cylinder",
    "write_cards",
]
