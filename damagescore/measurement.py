"""How a photo is to be measured, and everything measured on it, as records."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from damagescore import __version__
from damagescore.damage.links import Link
from damagescore.damage.record import Finding
from damagescore.damage.unjudged import Unjudged
from damagescore.edge.record import Edge
from damagescore.errors import UsageError
from damagescore.quality import Quality
from damagescore.quantity import Quantity, quantity_from_dict, rectangular
from damagescore.scale import ScaleRequest
from damagescore.scale.record import Scale

SCHEMA = "damagescore/measurement/1"

View = Literal["face", "profile"]
Outline = tuple[tuple[float, float], ...]


CLOCK_WITHIN_DEG = 5.0
"""How far a card put at a marked hour by eye may stand from it, degrees either way."""

MOST_CLOCK_WITHIN_DEG = 30.0
"""An hour of the clock face: a card that may stand further off says no position."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureOptions:
    """How one photo is to be measured.

    Parameters
    ----------
    view : "face" or "profile"
    scale : ScaleRequest
    n_layers : int or None
        Number of rubber layers, or of rubber and shims together, where the user knows
        it.
    sensitivity : float
        0 (only the plainest damage is proposed) to 1 (everything suspicious is).
    smallest_limit_mm : float or None
        Smallest length that the limits ask for; the quality gate compares the
        photo's resolution and focus with it.
    region_px : tuple of (x, y), or None
        Outline in which alone is searched and judged, photo pixels; None is all of it.
    keep_out_px : tuple of tuple of (x, y)
        Outlines of areas that are neither searched nor judged.
    clock_hours : float or None
        Where the photo's facing line lies on a round edge, hours of a clock face (0 to 12)
        seen from the side of the part that is up in the photo; None where not said.
    u_clock_deg : float
        Standard uncertainty (k = 1) of that place, degrees. A card put at a marked hour by
        eye is good to `CLOCK_WITHIN_DEG` either way (common practice, no source).
    """

    view: View = "face"
    scale: ScaleRequest = field(default_factory=ScaleRequest)
    n_layers: int | None = None
    sensitivity: float = 0.5
    smallest_limit_mm: float | None = None
    region_px: Outline | None = None
    keep_out_px: tuple[Outline, ...] = ()
    clock_hours: float | None = None
    u_clock_deg: float = rectangular(CLOCK_WITHIN_DEG)

    def __post_init__(self) -> None:
        if not 0.0 <= self.sensitivity <= 1.0:
            raise UsageError(
                f"The sensitivity is {self.sensitivity}, outside 0 to 1.",
                remedy="Give a number from 0 (fewest proposals) to 1 (most).",
            )
        if self.n_layers is not None and not 1 <= self.n_layers <= 60:
            raise UsageError(
                f"The number of rubber layers is {self.n_layers}, outside 1 to 60.",
                remedy="Give the number of rubber layers in the photo, or leave it out.",
            )
        if self.clock_hours is not None and not 0.0 <= self.clock_hours <= 12.0:
            raise UsageError(
                f"The clock position is {self.clock_hours}, outside 0 to 12 hours.",
                remedy="Give hours of a clock face, for instance 4.5 for half past four.",
            )
        most = rectangular(MOST_CLOCK_WITHIN_DEG)
        if not 0.0 < self.u_clock_deg <= most:
            raise UsageError(
                f"The clock position is said to be uncertain by {self.u_clock_deg:.3g} degrees "
                f"(k = 1), not above 0 and at most {most:.3g}.",
                remedy="Give how well the card was placed: 5 degrees either way by eye.",
            )

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "MeasureOptions":
        """Read back what `to_dict` wrote, also after a way through JSON."""
        region = plain.get("region_px")
        return cls(
            **{
                **plain,
                "scale": ScaleRequest.from_dict(plain["scale"]),
                "region_px": None if region is None else _outline(region),
                "keep_out_px": tuple(_outline(x) for x in plain.get("keep_out_px") or ()),
            }
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """Everything measured on one photo.

    Parameters
    ----------
    photo : mapping
        "path", "sha256", "width", "height".
    view : "face" or "profile"
    scale : Scale or None
        None where no scale was found.
    quality : Quality
    edge : Edge or None
        None where the laminated edge was not found.
    findings : tuple of Finding
    totals : mapping of str to Quantity
        Keys of `TOTAL_UNITS`; 0 means looked and found none.
    unjudged : tuple of Unjudged
        Parts of the rubber on which crumbling could not be judged.
    links : tuple of Link
        Where one crack may go on beyond a gap: suggestions, nothing is joined by itself.
    version : str
        Version of the program that measured.
    """

    photo: Mapping[str, Any]
    view: View
    scale: Scale | None
    quality: Quality
    edge: Edge | None
    findings: tuple[Finding, ...]
    totals: Mapping[str, Quantity]
    unjudged: tuple[Unjudged, ...] = ()
    links: tuple[Link, ...] = ()
    version: str = __version__

    def to_dict(self) -> dict[str, Any]:
        edge = self.edge
        return {
            "schema": SCHEMA,
            "version": self.version,
            "photo": dict(self.photo),
            "view": self.view,
            "scale": None if self.scale is None else self.scale.to_dict(),
            "quality": self.quality.to_dict(),
            "layers": [] if edge is None else [x.to_dict() for x in edge.layers],
            "edge": None if edge is None else _edge_frame(edge),
            "findings": [f.to_dict() for f in self.findings],
            "unjudged": [x.to_dict() for x in self.unjudged],
            "links": [x.to_dict() for x in self.links],
            "totals": {name: q.to_dict() for name, q in self.totals.items()},
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Measurement":
        """Read back what `to_dict` wrote.

        Raises
        ------
        UsageError
            When the object is of another schema.
        """
        if plain.get("schema") != SCHEMA:
            raise UsageError(
                f"The measurement has schema {plain.get('schema')!r}, not {SCHEMA!r}.",
                remedy="Measure the photo again with this version.",
            )
        edge = plain["edge"]
        scale = plain["scale"]
        return cls(
            photo=plain["photo"],
            view=plain["view"],
            scale=None if scale is None else Scale.from_dict(scale),
            quality=Quality.from_dict(plain["quality"]),
            edge=None if edge is None else Edge.from_dict({**edge, "layers": plain["layers"]}),
            findings=tuple(Finding.from_dict(f) for f in plain["findings"]),
            totals={name: quantity_from_dict(q) for name, q in plain["totals"].items()},
            unjudged=tuple(Unjudged.from_dict(x) for x in plain.get("unjudged", ())),
            links=tuple(Link.from_dict(x) for x in plain.get("links", ())),
            version=plain["version"],
        )


def _outline(points: Iterable[Sequence[float]]) -> Outline:
    return tuple((float(x), float(y)) for x, y in points)


def _edge_frame(edge: Edge) -> dict[str, Any]:
    plain = edge.to_dict()
    plain.pop("layers")
    return plain
