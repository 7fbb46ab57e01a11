"""What one photo of a round edge sees: arcs of the circumference, and damage on them.

Angles are degrees from 12 o'clock, clockwise as seen from the side of the part that is up
in the photo. There a step to the right in the photo goes against the clock.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from damagescore.around.arcs import TURN, Arc, arc_between, narrowed
from damagescore.damage.record import Finding
from damagescore.damage.unjudged import BLURRED, Unjudged, hiding
from damagescore.edge.record import Edge, Layer
from damagescore.edge.region import STATIONS, across_layer, free_share
from damagescore.measurement import MeasureOptions
from damagescore.runs import runs_of_true
from damagescore.scale import TURN_LIMIT_DEG
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

DEG_PER_HOUR = 30.0

ONE_SIDED_95 = 1.65
"""Standard uncertainties by which an arc is taken shorter where it must be seen for sure."""

DENSE = 64
"""Points on each piece of a line when it is cut at an angle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One finding as one photo shows it.

    Parameters
    ----------
    photo : int
        Number of the photo, from 1.
    arc : Arc
        Where it lies on the circumference.
    height : float
        Mean place across its layer, 0 at the lower and 1 at the upper border.
    side : str
        "upper" or "lower": the bond line that a bond gap lies at; empty for all others.
    turn_deg : float
        How far its middle is turned away from the line that faces the camera.
    state : "proposed" or "confirmed"
    """

    photo: int
    finding: Finding
    arc: Arc
    height: float
    side: str
    turn_deg: float
    state: str

    @property
    def name(self) -> str:
        return f"{self.finding.id}, photo {self.photo}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stray:
    """A finding that lies in no known rubber layer, so that it has no place."""

    photo: int
    finding: Finding
    state: str

    @property
    def name(self) -> str:
        return f"{self.finding.id}, photo {self.photo}"


@dataclass(frozen=True, kw_only=True)
class RoundPhoto:
    """One photo of a round edge with its place on the circumference.

    Parameters
    ----------
    number : int
        From 1, in the order of the inspection.
    clock_hours : float
        Where its facing line lies.
    u_deg : float
        Standard uncertainty (k = 1) of that place: of the clock position as set up, and of
        the facing line in the photo.
    radius_mm : float
    edge, scale : Edge, Scale or None
        None where the photo was refused: it sees nothing.
    layers : tuple of int
        Indices of its rubber layers.
    arcs : mapping of int to tuple of Arc
        By rubber layer: where it may be judged and is in focus, at most 50 degrees from the
        facing line.
    sightings : tuple of Sighting
        Findings that were not rejected.
    strays : tuple of Stray
    unjudged : tuple of Unjudged
        Rubber within the arcs on which crumbling would not have been seen.
    """

    number: int
    clock_hours: float
    u_deg: float
    radius_mm: float
    edge: Edge | None
    scale: Scale | None
    layers: tuple[int, ...]
    arcs: Mapping[int, tuple[Arc, ...]]
    sightings: tuple[Sighting, ...]
    strays: tuple[Stray, ...] = ()
    unjudged: tuple[Unjudged, ...] = ()

    @property
    def centre_deg(self) -> float:
        return self.clock_hours * DEG_PER_HOUR % TURN

    @property
    def usable(self) -> bool:
        return self.edge is not None

    def sure(self, layer: int) -> tuple[Arc, ...]:
        """Arcs of a layer less what its place may be off (95 %, one-sided) at each end."""
        by = ONE_SIDED_95 * self.u_deg
        return tuple(x for arc in self.arcs.get(layer, ()) for x in narrowed(arc, by))

    def angles_deg(self, points_px: Points) -> Points:
        """Angles (N,) of photo pixels (N, 2); not reduced to one turn."""
        assert self.scale is not None
        return self.centre_deg - self.scale.surface.turn_deg(points_px)


def round_photo(
    measurement: Mapping[str, Any],
    options: Mapping[str, Any],
    *,
    number: int,
    states: Mapping[str, str],
) -> RoundPhoto | None:
    """Place a photo on the circumference; None where it has no clock position or no radius.

    Parameters
    ----------
    measurement : mapping
        Of schema damagescore/measurement/1.
    options : mapping
        Of its measuring, as `MeasureOptions.to_dict` gives them.
    number : int
        Of the photo, from 1.
    states : mapping of str to str
        "confirmed" or "rejected" by finding id; others are proposed.
    """
    if not options or options.get("clock_hours") is None or measurement["view"] != "face":
        return None
    asked = MeasureOptions.from_dict(options)
    radius = asked.scale.edge_radius_mm
    if radius is None or asked.clock_hours is None:
        return None
    edge, scale = _layers_and_scale(measurement)
    layers = () if edge is None else tuple(x.index for x in edge.rubber)
    place = RoundPhoto(
        number=number, clock_hours=asked.clock_hours, radius_mm=radius,
        u_deg=_u_place_deg(asked.u_clock_deg, scale), edge=edge, scale=scale,
        layers=layers, arcs={}, sightings=(),
    )  # fmt: skip
    if edge is None or scale is None:
        return place
    parts = [Unjudged.from_dict(x) for x in measurement.get("unjudged") or ()]
    blurred = hiding(parts, "crack")
    away = (*edge.drawn_keep_out_px, *(x.polygon_px for x in blurred))
    sharp = replace(edge, drawn_keep_out_px=away)
    arcs = {x.index: _arcs(x, sharp, place) for x in edge.rubber}
    kept = [
        f
        for f in map(Finding.from_dict, measurement["findings"])
        if states.get(f.id) != "rejected"
    ]
    found = [_sighting(f, place, states.get(f.id, "proposed")) for f in kept]
    return replace(
        place, arcs=arcs,
        sightings=tuple(s for s in found if isinstance(s, Sighting)),
        strays=tuple(s for s in found if isinstance(s, Stray)),
        unjudged=tuple(x for x in parts if x.reason != BLURRED),
    )  # fmt: skip


def _layers_and_scale(measurement: Mapping[str, Any]) -> tuple[Edge | None, Scale | None]:
    if not measurement["quality"]["usable"] or not measurement["edge"]:
        return None, None
    edge = Edge.from_dict({**measurement["edge"], "layers": measurement["layers"]})
    return edge, Scale.from_dict(measurement["scale"])


def _u_place_deg(u_clock_deg: float, scale: Scale | None) -> float:
    """Of the clock position, and of where the facing line lies in the photo."""
    facing = 0.0
    if scale is not None and scale.surface.radius_mm is not None:
        facing = math.degrees(scale.u_facing_mm / scale.surface.radius_mm)
    return math.hypot(u_clock_deg, facing)


def _arcs(layer: Layer, edge: Edge, place: RoundPhoto) -> tuple[Arc, ...]:
    """Where the layer may be judged: as fine as a 400th of its length in the photo."""
    assert place.scale is not None
    free = free_share(layer, edge)
    ends = across_layer(layer, np.linspace(0.0, 1.0, STATIONS + 1), (0.5,))[:, 0]
    limit = np.array([edge.shape[1] - 1, edge.shape[0] - 1])
    turn = place.scale.surface.turn_deg(np.clip(ends, 0, limit))
    turn = np.clip(turn, -TURN_LIMIT_DEG, TURN_LIMIT_DEG)
    arcs = []
    for start, stop in runs_of_true(free):
        low, high = sorted((float(turn[start]), float(turn[stop])))
        if high > low:
            arcs.append(arc_between(place.centre_deg - high, place.centre_deg - low))
    return tuple(arcs)


def _sighting(finding: Finding, place: RoundPhoto, state: str) -> Sighting | Stray:
    points = dense(finding)
    edge = place.edge
    assert edge is not None
    assert place.scale is not None
    layer = next((x for x in edge.rubber if x.index == finding.layer), None)
    if layer is None or len(points) == 0:
        return Stray(photo=place.number, finding=finding, state=state)
    angles = place.angles_deg(points)
    height = _height(points, layer, edge)
    low, high = float(angles.min()), float(angles.max())
    return Sighting(
        photo=place.number, finding=finding, arc=arc_between(low, high), height=height,
        side=("upper" if height > 0.5 else "lower") if finding.kind == "bond_gap" else "",
        turn_deg=abs(place.centre_deg - (low + high) / 2), state=state,
    )  # fmt: skip


def _height(points_px: Points, layer: Layer, edge: Edge) -> float:
    """Mean place of points across a layer, 0 at the lower and 1 at the upper border."""
    along, across = edge.frame
    at, depth = points_px @ along, points_px @ across
    borders = []
    for curve in (layer.lower_px, layer.upper_px):
        run = curve @ along
        order = np.argsort(run)
        borders.append(np.interp(at, run[order], (curve @ across)[order]))
    lower, upper = borders
    share = (lower - depth) / np.maximum(lower - upper, 1e-9)
    return float(np.mean(share))


def dense(finding: Finding) -> Points:
    """Points close together along all lines or the outline of a finding, shape (N, 2)."""
    lines = finding.lines_px
    if finding.polygon_px is not None:
        lines = (np.vstack([finding.polygon_px, finding.polygon_px[:1]]),)
    pieces = [denser(line) for line in lines if len(line)]
    return np.vstack(pieces) if pieces else np.zeros((0, 2))


def denser(line_px: Points) -> Points:
    """The same polyline with more points: what is straight in a photo is bent on a cylinder."""
    if len(line_px) < 2:
        return line_px
    steps = np.linspace(0.0, 1.0, DENSE, endpoint=False)[None, :, None]
    inner = line_px[:-1, None] * (1 - steps) + line_px[1:, None] * steps
    return np.vstack([inner.reshape(-1, 2), line_px[-1:]])
