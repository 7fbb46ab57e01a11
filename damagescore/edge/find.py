"""Find the laminated edge in either view."""

from typing import Literal

from damagescore.edge.face import find_face_edge
from damagescore.edge.profile import find_profile_edge
from damagescore.edge.record import Edge
from damagescore.errors import EdgeError
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale


def find_edge(
    photo: Photo,
    scale: Scale,
    *,
    view: Literal["face", "profile"] = "face",
    n_layers: int | None = None,
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

    Returns
    -------
    Edge
        Layers from the bottom of the photo upwards, rubber first and last.

    Raises
    ------
    EdgeError
        Where no stack stands out, or `n_layers` is not possible.
    """
    if n_layers is not None and not 2 <= n_layers <= 60:
        raise EdgeError(
            f"{n_layers} rubber layers cannot be looked for.",
            remedy="Give a number from 2 to 60, or leave it to be found.",
        )
    if view == "face":
        return find_face_edge(photo, scale, n_layers=n_layers)
    if view == "profile":
        return find_profile_edge(photo, scale, n_layers=n_layers)
    raise EdgeError(f"The view {view!r} is not known.", remedy="Use face or profile.")
