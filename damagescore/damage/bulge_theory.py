"""How far sound rubber bulges when a bonded layer is compressed.

Source: Gent and Lindley, "The compression of bonded rubber blocks",
Proc. IMechE 173 (1959) 111-122, Appendix I: the free edge takes a parabolic
shape across the layer; first order in the strain, for shape factors well above 1
(low by about 5 % for a strip and 4 % for a disc at 5 % strain).
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from damagescore.errors import UsageError

Points = NDArray[np.float64]
Form = Literal["strip", "disc"]

PEAK_FACTOR = {"strip": 1.5, "disc": 0.75}


def sound_bulge_mm(half_width_mm: float, strain: float, *, form: Form) -> float:
    """Peak of the bulge of a sound bonded layer.

    Parameters
    ----------
    half_width_mm : float
        Half width of a long strip, or radius of a disc.
    strain : float
        Compression over thickness, 0 to 0.3.
    form : "strip" or "disc"

    Returns
    -------
    float
        1.5 a e for a strip, 0.75 a e for a disc.
    """
    if half_width_mm <= 0 or not 0 <= strain <= 0.3:
        raise UsageError(
            f"Half width {half_width_mm} mm with strain {strain} is outside the formula.",
            remedy="Give a positive half width and a strain from 0 to 0.3.",
        )
    return PEAK_FACTOR[form] * half_width_mm * strain


def shape_factor(half_width_mm: float, thickness_mm: float, *, form: Form) -> float:
    """Loaded area over force-free area: a/t for a strip, a/2t for a disc."""
    return half_width_mm / thickness_mm / (1.0 if form == "strip" else 2.0)


def bulge_over_thickness(strain: float, shape: float) -> float:
    """Peak over layer thickness, 1.5 e S, for either form."""
    return 1.5 * strain * shape


def parabola(position: Points, *, peak: float) -> Points:
    """Bulge across the layer, `position` from -1 (bond) to 1 (bond)."""
    inside = np.clip(np.asarray(position, dtype=np.float64), -1.0, 1.0)
    return np.asarray(peak * (1.0 - inside**2), dtype=np.float64)
