"""A finding: where it is in the photo and what was measured on it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from damagescore.quantity import Quantity, quantity_from_dict

FindingKind = Literal["crack", "bond_gap", "crumbling", "bulge"]
Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One piece of damage.

    Parameters
    ----------
    id : str
        Unique within the photo, for instance "crack-3".
    kind : "crack", "bond_gap", "crumbling" or "bulge"
    layer : int or None
        Index of the rubber layer it lies in (or borders on, for a bond gap).
    strength : float
        0 to 1. For a proposed crack or bond gap the chance that it is one, as fitted on
        photos with truth (`confidence.Model.chance`); else how clearly the photo shows it.
    lines_px : tuple of ndarray, shape (N, 2)
        Centre lines: the main path first, then branches, each ordered.
    polygon_px : ndarray, shape (N, 2), or None
        Outline of an area finding.
    quantities : mapping of str to Quantity
        "length" (all lines, mm), "width_max" (mm), "area" (mm2), "peak" (mm),
        "extent" (mm along the layer), "share_of_layer" (%), as the kind has.
    origin : "auto", "traced" or "drawn"
    bridged_px : tuple of ndarray, shape (2, 2)
        Both ends of each stretch of its lines that a person joined across a gap.
    """

    id: str
    kind: FindingKind
    layer: int | None
    strength: float
    lines_px: tuple[Points, ...] = ()
    polygon_px: Points | None = None
    quantities: Mapping[str, Quantity] = field(default_factory=dict)
    origin: str = "auto"
    bridged_px: tuple[Points, ...] = ()

    @property
    def points_px(self) -> Points:
        """Points of the outline, or else of all lines, shape (N, 2); N may be 0."""
        if self.polygon_px is not None:
            return self.polygon_px
        return np.vstack(self.lines_px) if self.lines_px else np.zeros((0, 2))

    def to_dict(self) -> dict[str, Any]:
        polygon = self.polygon_px
        bridged = [np.round(ends, 2).tolist() for ends in self.bridged_px]
        return {
            "id": self.id,
            "kind": self.kind,
            "layer": self.layer,
            "strength": round(self.strength, 3),
            "lines_px": [np.round(line, 2).tolist() for line in self.lines_px],
            "polygon_px": None if polygon is None else np.round(polygon, 2).tolist(),
            "quantities": {k: q.to_dict() for k, q in self.quantities.items()},
            "origin": self.origin,
            # Left out where there is none, as in records from before.
            **({"bridged_px": bridged} if bridged else {}),
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Finding":
        polygon = plain["polygon_px"]
        return cls(
            id=plain["id"],
            kind=plain["kind"],
            layer=plain["layer"],
            strength=plain["strength"],
            lines_px=tuple(np.array(x, dtype=np.float64) for x in plain["lines_px"]),
            polygon_px=None if polygon is None else np.array(polygon, dtype=np.float64),
            quantities={k: quantity_from_dict(q) for k, q in plain["quantities"].items()},
            origin=plain.get("origin", "auto"),
            bridged_px=tuple(np.array(x, np.float64) for x in plain.get("bridged_px", ())),
        )
