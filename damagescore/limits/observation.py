"""What was seen, in the form in which limits look at it."""

from dataclasses import dataclass
from typing import Literal

from damagescore.quantity import Quantity

Aspect = Literal["item", "layer_share", "part_share"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One value of one quantity.

    A photo that was judged and shows no such damage gives one observation of 0
    without a finding; a photo that could not be judged gives one that is
    `NotMeasured`, so that it can never prove anything.

    Parameters
    ----------
    quantity : str
        One of `damagescore.limits.quantities()`.
    value : Measured or NotMeasured
        In mm, mm2 or %.
    item : str
        What it was measured on, for a person: "crack-3, photo 1".
    aspect : "item", "layer_share" or "part_share"
        A single damage, or a share of a layer or of all layers of one photo.
    layer : int or None
    finding : bool
        True where there is a damage behind it.
    proposed : bool
        True where nobody has reviewed it.
    photo : int or None
        Number of the photo; None for a value taken by hand, or joined over photos.
    confirmed_value : Measured, NotMeasured or None
        Of a share that holds proposed findings: its value without them.
    """

    quantity: str
    value: Quantity
    item: str
    aspect: Aspect = "item"
    layer: int | None = None
    finding: bool = False
    proposed: bool = False
    photo: int | None = None
    confirmed_value: Quantity | None = None
