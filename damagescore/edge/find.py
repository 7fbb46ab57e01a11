"""Find the laminated edge in either view."""

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.face import find_face_edge
from damagescore.edge.profile import find_profile_edge
from damagescore.edge.record import Edge
from damagescore.edge.region import Limits, outline_of, with_region
from damagescore.errors import EdgeError
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]


def find_edge(
    photo: Photo,
    scale: Scale,
    *,
    view: Literal["face", "profile"] = "face",
    n_layers: int | None = None,
    region_px: Points | None = None,
    keep_out_px: Sequence[Points] = (),
) -> Edge:
    """Find the stack of rubber layers and shims.

    Parameters
    ----------
    photo : Photo
    scale : Scale
        Gives the sizes by which rubber and shims are known.
    view : "face" or "profile"
        Onto the exposed edge, or along it (its outline against the background).
    n_layers : int or None
        Number of rubber layers where it is known; found otherwise.
    region_px : ndarray, shape (N, 2), or None
        Outline in which a face view is searched and judged; None takes all of the photo.
    keep_out_px : sequence of ndarray, shape (N, 2)
        Areas that are neither searched nor judged.

    Returns
    -------
    Edge
        Layers from the bottom of the photo upwards, rubber first and last.

    Raises
    ------
    EdgeError
        Where no stack stands out, `n_layers` is not possible, or no rubber is left to
        judge.
    """
    if n_layers is not None and not 2 <= n_layers <= 60:
        raise EdgeError(
            f"{n_layers} rubber layers cannot be looked for.",
            remedy="Give a number from 2 to 60, or leave it to be found.",
        )
    if view not in ("face", "profile"):
        raise EdgeError(f"The view {view!r} is not known.", remedy="Use face or profile.")
    limits = Limits(
        region_px=None if region_px is None else outline_of(region_px, "region"),
        keep_out_px=tuple(outline_of(x, "area to keep out") for x in keep_out_px),
    )
    if view == "face":
        edge = find_face_edge(photo, scale, n_layers=n_layers, limits=limits)
    else:
        edge = find_profile_edge(photo, scale, n_layers=n_layers)
    return with_region(edge, region_px=limits.region_px, keep_out_px=limits.keep_out_px)
