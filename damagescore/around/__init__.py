"""The whole circumference of a round edge from photos at clock positions."""

from damagescore.around.arcs import Arc, complement, intersection, total_deg, union
from damagescore.around.joining import Around, Damage, look_around
from damagescore.around.view import RoundPhoto, Sighting, round_photo

__all__ = [
    "Arc",
    "Around",
    "Damage",
    "RoundPhoto",
    "Sighting",
    "complement",
    "intersection",
    "look_around",
    "round_photo",
    "total_deg",
    "union",
]
