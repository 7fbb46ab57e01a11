"""Rubber on which damage could not be judged, and what it means for the totals."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.record import FindingKind
from damagescore.quality import Check
from damagescore.quantity import (
    NOT_JUDGED,
    Contribution,
    Quantity,
    quantity_from_dict,
    rectangular,
)

Points = NDArray[np.float64]
Reason = Literal["too dark", "glare", "covered", "out of focus", "behind the scale mark"]
REASONS: tuple[Reason, ...] = get_args(Reason)
HIDDEN: Reason = "behind the scale mark"
BLURRED: Reason = "out of focus"

REMEDIES: Mapping[Reason, str] = {
    "too dark": "Light it again.",
    "glare": "Move the lamp to the side.",
    "covered": "Wipe the rubber clean.",
    "out of focus": "Focus there, or show it in a photo of its own.",
    "behind the scale mark": "Move the scale mark off the rubber.",
}

LEAST_TOLD_PERCENT = 3.0
"""Share of a layer below which an unjudged part is measured but not warned about."""

MOST_LISTED = 3
"""More layers are told together."""

SMALLEST_PATCH_MM2 = 1.5
"""Smaller patches are not proposed (`CrumblingRule.least_area_mm2`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unjudged:
    """A part of a rubber layer on which crumbling, and out of focus a crack, is not seen.

    Parameters
    ----------
    layer : int
    reason : str
        One of `REASONS`.
    polygon_px : ndarray, shape (N, 2)
        Photo pixels.
    area : Measured or NotMeasured
        On the surface, mm2.
    share_of_layer : Measured or NotMeasured
        Of all of its layer that is in the photo, %.
    """

    layer: int
    reason: Reason
    polygon_px: Points
    area: Quantity
    share_of_layer: Quantity

    def to_dict(self) -> dict[str, Any]:
        return {
            "layer": self.layer,
            "reason": self.reason,
            "polygon_px": np.round(self.polygon_px, 2).tolist(),
            "area": self.area.to_dict(),
            "share_of_layer": self.share_of_layer.to_dict(),
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Unjudged":
        return cls(
            layer=plain["layer"],
            reason=plain["reason"],
            polygon_px=np.array(plain["polygon_px"], dtype=np.float64),
            area=quantity_from_dict(plain["area"]),
            share_of_layer=quantity_from_dict(plain["share_of_layer"]),
        )


def amount(quantity: Quantity) -> float:
    """The value of a quantity, 0 where there is none."""
    return getattr(quantity, "value", 0.0)


def hiding(parts: Iterable[Unjudged], kind: FindingKind) -> tuple[Unjudged, ...]:
    """The parts in which damage of a kind is not seen.

    A crack shows in shade and beside glare as well, only out of focus it does not.
    """
    return tuple(x for x in parts if kind == "crumbling" or x.reason == BLURRED)


def missed_lines(parts: Iterable[Unjudged], *, none_found: bool) -> tuple[Contribution, ...]:
    """What a search may have missed, as lines of the budget of a crumbled area, mm2.

    Between nothing and all of an unjudged part may be crumbled: a rectangular
    distribution (GUM 4.3.7) that reaches as far as the part is large. Where nothing was
    found, one patch below the smallest that is proposed may be there as well; the areas
    found have a budget of their own that was fitted with such patches present.
    """
    unjudged = sum(amount(x.area) for x in parts)
    lines = [Contribution(source=NOT_JUDGED, u=rectangular(unjudged))] if unjudged else []
    if none_found:
        lines.append(Contribution(source="smallest patch", u=rectangular(SMALLEST_PATCH_MM2)))
    return tuple(lines)


def unjudged_checks(parts: Iterable[Unjudged]) -> tuple[Check, ...]:
    """A warning that names the layers that could not be judged; none where all could."""
    told = {
        reason: {layer: share for layer, share in shares.items() if share >= LEAST_TOLD_PERCENT}
        for reason, shares in shares_by_reason(parts).items()
    }
    if not any(told.values()):
        return ()
    sentences = [
        f"{where_in_words(shares)} could not be judged for {damage_hidden(reason)}: {reason}. "
        f"{REMEDIES[reason]}"
        for reason, shares in told.items()
        if shares
    ]
    check = Check(
        name="unjudged", outcome="warn", unit="%", message=" ".join(sentences),
        value=max(share for shares in told.values() for share in shares.values()),
    )  # fmt: skip
    return (check,)


def shares_by_reason(parts: Iterable[Unjudged]) -> dict[Reason, dict[int, float]]:
    """By reason, in the order of `REASONS`, the share of each layer, %."""
    shares: dict[Reason, dict[int, float]] = {reason: {} for reason in REASONS}
    for part in parts:
        mine = shares[part.reason]
        mine[part.layer] = mine.get(part.layer, 0.0) + amount(part.share_of_layer)
    return {reason: mine for reason, mine in shares.items() if mine}


def damage_hidden(reason: Reason) -> str:
    """What damage cannot be seen for a reason, in words."""
    return "cracks and crumbling" if reason == BLURRED else "crumbling"


def where_in_words(shares: Mapping[int, float]) -> str:
    """Shares in % by layer, in words; many layers are not listed."""
    if len(shares) > MOST_LISTED:
        low, high = min(shares.values()), max(shares.values())
        span = f"{low:.0f} to {high:.0f}" if round(low) < round(high) else f"{high:.0f}"
        return f"{span} % of {len(shares)} layers"
    return " and ".join(f"{share:.0f} % of layer {layer}" for layer, share in shares.items())
