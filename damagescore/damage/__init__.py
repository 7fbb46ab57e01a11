"""Finding and measuring damage: cracks, bond gaps, crumbling, bulges."""

from damagescore.damage.areas import measure_area
from damagescore.damage.bulge import bulge_profile, find_bulges
from damagescore.damage.crack import find_cracks
from damagescore.damage.crumbling import find_crumbling
from damagescore.damage.lines import measure_lines
from damagescore.damage.trace import snap_path, trace_crack

__all__ = [
    "bulge_profile",
    "find_bulges",
    "find_cracks",
    "find_crumbling",
    "measure_area",
    "measure_lines",
    "snap_path",
    "trace_crack",
]
