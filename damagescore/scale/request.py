"""What the user says about the scale of a photo."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from damagescore.errors import UsageError
from damagescore.quantity import count_words
from damagescore.scale.lens import Lens

ScaleKind = Literal["auto", "squares", "rule", "two_dots", "two_points"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleRequest:
    """How the scale is to be found.

    Parameters
    ----------
    kind : str
        "auto" looks for the project's own printed card.
    size_mm : float or None
        Side of the squares, pitch of the rule, centre distance of the dots, or
        distance of the two points.
    points_px : tuple of (x, y)
        The two points, for kind "two_points".
    edge_radius_mm : float or None
        Radius of a round edge; None for a flat one.
    standoff_mm, u_standoff_mm : float
        How much nearer to the camera the mark is than the rubber, and the
        standard uncertainty of that.
    size_tolerance : float
        Relative half-width within which the mark's size is known (rectangular).
    lens : Lens or None
        Profile of the camera's lens; a photo that it does not fit does without, and says so.
    """

    kind: ScaleKind = "auto"
    size_mm: float | None = None
    points_px: tuple[tuple[float, float], ...] = ()
    edge_radius_mm: float | None = None
    standoff_mm: float = 0.0
    u_standoff_mm: float = 0.3
    size_tolerance: float = 0.001
    lens: Lens | None = None

    def __post_init__(self) -> None:
        for name, value in (("size", self.size_mm), ("edge radius", self.edge_radius_mm)):
            if value is not None and not 0 < value < 10_000:
                raise UsageError(
                    f"The {name} is {value} mm, outside 0 to 10000 mm.",
                    remedy="Give the true size in millimetres.",
                )
        if self.kind != "auto" and self.size_mm is None:
            raise UsageError(
                f"A scale by {self.kind.replace('_', ' ')} needs a size.",
                remedy="Give the side, pitch or distance in millimetres.",
            )
        if self.kind == "two_points" and len(self.points_px) != 2:
            raise UsageError(
                f"A scale by two points got {count_words(len(self.points_px), 'point')}.",
                remedy="Give two points.",
            )

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "ScaleRequest":
        """Read back what `asdict` gives, also after a way through JSON."""
        lens = plain.get("lens")
        points = tuple((float(x), float(y)) for x, y in plain["points_px"])
        return cls(
            **{
                **plain,
                "points_px": points,
                "lens": None if lens is None else Lens.from_dict(lens),
            }
        )
