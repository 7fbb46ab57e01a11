"""Layers that are lost or in doubt: told as not measured, never taken for sound."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.record import Finding
from damagescore.edge.record import Layer
from damagescore.errors import EdgeError
from damagescore.quantity import NotMeasured, Unit

Points = NDArray[np.float64]

LEAST_KNOWN = 0.5
"""Share of a layer's outline below which a peak may have been missed, and of the layers
below which the photo is refused."""

_UNITS: dict[str, Unit] = {"peak": "mm", "peak_over_thickness": "%", "recess": "mm"}


@dataclass(frozen=True, slots=True, kw_only=True)
class LostLayer:
    """A rubber layer that could not be measured.

    Parameters
    ----------
    layer : int
    reason : str
    outline_px : ndarray, shape (N, 2)
        A line along its end in the photo, from boundary to boundary.
    """

    layer: int
    reason: str
    outline_px: Points

    def finding(self) -> Finding:
        """What an inspector has to look at: no value, and why."""
        return Finding(
            id=f"bulge-{self.layer}",
            kind="bulge",
            layer=self.layer,
            strength=0.0,
            lines_px=(self.outline_px,),
            quantities={k: NotMeasured(reason=self.reason, unit=u) for k, u in _UNITS.items()},
        )


def lost_layer(layer: Layer, ends_px: Points, known: float) -> LostLayer:
    """The layer as lost; `ends_px` (2, 2) are its ends at the outline."""
    return LostLayer(
        layer=layer.index,
        reason=(
            f"The outline of layer {layer.index} is lost against the background: only "
            f"{100 * known:.0f} % of it shows."
        ),
        outline_px=ends_px,
    )


def doubted_layer(layer: Layer, ends_px: Points, doubt: str) -> LostLayer:
    """The layer as not measured: where layers are taken for others, so are their shims.

    The datum may then run along something else, and the largest bulge lie on a layer that
    was missed: no uncertainty told from the outline found would hold that.
    """
    return LostLayer(
        layer=layer.index,
        reason=(
            f"The bulge of layer {layer.index} is not measured, as the layers are in doubt "
            f"({doubt}): give their number or correct them."
        ),
        outline_px=ends_px,
    )


def check_lost(lost: list[LostLayer], n_layers: int) -> None:
    """Raise EdgeError where too few layers are left to speak of the part."""
    if len(lost) > (1 - LEAST_KNOWN) * n_layers:
        more = f" {len(lost)} of {n_layers} layers are lost." if len(lost) > 1 else ""
        raise EdgeError(
            lost[0].reason + more, remedy="Take the photo against a plain bright background."
        )
