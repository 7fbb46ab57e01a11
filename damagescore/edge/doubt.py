"""Why the number of layers found may be wrong."""

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.bands import Band

Points = NDArray[np.float64]

AS_STRONG = 0.5
"""Share of the usual strength of the shims from which on a band left out is one, perhaps."""

FAINT = 0.1
"""Share of the usual strength below which a shim is hardly one."""

FAINT_END, UNLIKE_END = 0.5, 0.8
"""The same for an outermost shim, and the cosine of its contrast and the others' below which
it is of another material: a plate's lit rim, or a strip of it, may look like a shim."""

UNEVEN = 1.45
"""Distances of neighbouring shims whose ratio is larger hint at a shim missed or feigned."""

NEXT = 0.12
"""How far from where the next shim would lie, in pitches, a band beyond the stack counts."""

UNEVEN_END = 2.0
"""The usual thickness over that of an outer layer from which on that layer may be none."""


def doubt_of(bands: list[Band], chain: list[Band], *, ends: tuple[float, float]) -> str:
    """What speaks against the number of shims in a chain; empty where nothing does.

    Parameters
    ----------
    bands : list of Band
        All bands found.
    chain : list of Band
        Those taken for shims, upper first.
    ends : tuple of float
        Levels of the top and of the bottom of the stack, photo pixels.
    """
    if len(chain) < 2:
        return ""
    usual = float(np.median([b.strength for b in chain]))
    pitches = np.diff([b.level_px for b in chain])
    if _left_out(bands, chain, ends, usual):
        return "a band like a shim lies inside a layer or beside the stack"
    faint = min(b.strength for b in chain) < FAINT * usual
    if faint or any(_unlike_end(chain, k) for k in (0, -1)):
        return "one of the shims is hardly seen or unlike the others"
    if float(pitches.max() / pitches.min()) > UNEVEN:
        return "the layers are of very different thickness"
    if _uneven_end(chain, ends, float(np.median(pitches))):
        return "an outer layer is of very different thickness"
    return ""


def _unlike_end(chain: list[Band], end: int) -> bool:
    """Whether the first or last shim is far weaker than the others, or of another colour."""
    others = chain[1:] if end == 0 else chain[:-1]
    usual = np.mean([b.contrast for b in others], axis=0)
    size, usual_size = (float(np.linalg.norm(c)) for c in (chain[end].contrast, usual))
    cosine = float(chain[end].contrast @ usual) / (size * usual_size + 1e-9)
    return size < FAINT_END * usual_size or cosine < UNLIKE_END


def _uneven_end(chain: list[Band], ends: tuple[float, float], pitch: float) -> bool:
    """Whether the rubber beyond an outer shim is unlike that between shims in thickness."""
    usual = pitch - float(np.median([b.thickness_px for b in chain]))
    first, last = chain[0], chain[-1]
    outer = (
        first.level_px - first.thickness_px / 2 - ends[0],
        ends[1] - last.level_px - last.thickness_px / 2,
    )
    return max(outer) > UNEVEN * usual or min(outer) < usual / UNEVEN_END


def _left_out(
    bands: list[Band], chain: list[Band], ends: tuple[float, float], usual: float
) -> bool:
    """Whether a band like the shims, and about as strong, lies between or beside them."""
    mean = np.mean([b.contrast for b in chain], axis=0)
    mean /= np.linalg.norm(mean) + 1e-9
    pitch = float(np.median(np.diff([b.level_px for b in chain])))
    for band in bands:
        apart = min(abs(band.level_px - b.level_px) for b in chain)
        inside = ends[0] + 0.25 * pitch < band.level_px < ends[1] - 0.25 * pitch
        inside |= abs(apart - pitch) < NEXT * pitch  # where the next shim would lie
        alike = float(band.contrast @ mean) > max(0.6 * band.strength, AS_STRONG * usual)
        if inside and alike and apart > 0.25 * pitch:
            return True
    return False
