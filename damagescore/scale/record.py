"""The scale of a photo: a map from pixels to the metric surface, and its evidence."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from damagescore.quantity import Contribution
from damagescore.scale.camera import LensUse
from damagescore.scale.round_edge import ROUND_LINES, round_lines
from damagescore.scale.surface import Points, SurfaceMap

__all__ = ["Mark", "Points", "Scale", "SurfaceMap"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One scale mark as found in the photo.

    `kind` is "aruco_4x4_50", "apriltag_36h11", "rule", "dot" or "point";
    `corners_px` has shape (N, 2): four corners of a square in order, the ends of
    a rule's first and last graduation, a disc's centre, or a clicked point.
    """

    kind: str
    id: int | None
    size_mm: float | None
    corners_px: Points
    mm_per_px: float | None
    tilt_deg: float | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "kind": self.kind, "id": self.id, "size_mm": self.size_mm,
            "corners_px": np.round(self.corners_px, 3).tolist(),
            "mm_per_px": self.mm_per_px, "tilt_deg": self.tilt_deg,
        }  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """The scale of one photo with its evidence.

    Parameters
    ----------
    method : str
        "squares", "card", "rule", "two_dots", "two_points".
    surface : SurfaceMap
    centre_px : tuple of float
        Where `mm_per_px` holds: the centre of the judged area once known.
    u_relative : float
        Relative standard uncertainty of a length measured with this scale.
    tilt_deg : float or None
        Angle between the surface's normal and the viewing direction; None where
        the marks cannot tell.
    marks : tuple of Mark
    budget : tuple of Contribution
        Relative contributions (dimensionless) behind `u_relative`.
    disagreement : float or None
        Largest relative difference between marks after the plane was removed;
        None with a single mark.
    u_log_focal : float or None
        Relative standard uncertainty of the focal length behind `surface.eye_mm`; None
        where nothing is known of it.
    u_tilt_deg : float or None
        Standard uncertainty of `tilt_deg`; where that is None, of the tilt from 0.
    u_facing_mm : float
        Standard uncertainty of where a round edge faces the camera (`surface.facing_mm`).
    lens : LensUse or None
        The lens profile that was asked for; None where none was.
    """

    method: str
    surface: SurfaceMap
    centre_px: tuple[float, float]
    u_relative: float
    tilt_deg: float | None
    marks: tuple[Mark, ...]
    budget: tuple[Contribution, ...] = ()
    disagreement: float | None = None
    u_log_focal: float | None = None
    u_tilt_deg: float | None = None
    u_facing_mm: float = 0.0
    lens: LensUse | None = None

    @property
    def mm_per_px(self) -> float:
        return self.surface.mm_per_px_at(np.array(self.centre_px))

    @property
    def u_mm_per_px(self) -> float:
        return self.mm_per_px * self.u_relative

    @property
    def u_relative_across(self) -> float:
        """Relative standard uncertainty of a length across the layers.

        On a round edge that is along its axis, which the turn does not shorten.
        """
        if not self.budget:
            return self.u_relative
        return math.hypot(*(c.u for c in self.budget if c.source not in ROUND_LINES))

    def u_relative_at(self, points_px: Points) -> float:
        """Relative standard uncertainty of a length through these places, shape (N, 2).

        On a flat edge that is `u_relative`; on a round one it grows with the turn.
        """
        if self.surface.radius_mm is None:
            return self.u_relative
        return math.hypot(self.u_relative_across, *(c.u for c in self.round_lines(points_px)))

    def round_lines(self, points_px: Points) -> tuple[Contribution, ...]:
        """What the turn of a round edge adds to lengths along it at these places."""
        return round_lines(
            self.surface, points_px, u_facing_mm=self.u_facing_mm,
            u_log_focal=self.u_log_focal or 0.0, u_tilt_deg=self.u_tilt_deg or 0.0,
        )  # fmt: skip

    def to_dict(self) -> dict[str, Any]:
        return {
            "method": self.method,
            "mm_per_px": self.mm_per_px,
            "u_mm_per_px": self.u_mm_per_px,
            "tilt_deg": self.tilt_deg,
            "marks": [m.to_dict() for m in self.marks],
            "surface": self.surface.to_dict(),
            "centre_px": list(self.centre_px),
            "u_relative": self.u_relative,
            "budget": [c.to_dict() for c in self.budget],
            "disagreement": self.disagreement,
            "u_log_focal": self.u_log_focal,
            "u_tilt_deg": self.u_tilt_deg,
            "u_facing_mm": self.u_facing_mm,
            "lens": None if self.lens is None else self.lens.to_dict(),
        }

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> "Scale":
        marks = tuple(
            Mark(
                kind=m["kind"], id=m["id"], size_mm=m["size_mm"],
                corners_px=np.array(m["corners_px"], dtype=np.float64).reshape(-1, 2),
                mm_per_px=m["mm_per_px"], tilt_deg=m.get("tilt_deg"),
            )
            for m in plain["marks"]
        )  # fmt: skip
        lens = plain.get("lens")
        budget = tuple(Contribution(source=c["source"], u=c["u"]) for c in plain["budget"])
        return cls(
            method=plain["method"],
            surface=SurfaceMap.from_dict(plain["surface"]),
            centre_px=(plain["centre_px"][0], plain["centre_px"][1]),
            u_relative=plain["u_relative"],
            tilt_deg=plain["tilt_deg"],
            marks=marks,
            budget=budget,
            disagreement=plain.get("disagreement"),
            u_log_focal=plain.get("u_log_focal"),
            u_tilt_deg=plain.get("u_tilt_deg"),
            u_facing_mm=plain.get("u_facing_mm", 0.0),
            lens=None if lens is None else LensUse(**lens),
        )
