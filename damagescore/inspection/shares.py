"""Shares of layers, bond lines and the whole face that findings take up."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.areas import visible_area_mm2
from damagescore.damage.record import Finding, FindingKind
from damagescore.damage.unjudged import HIDDEN, Unjudged, amount, hiding
from damagescore.edge.along import frame_mm, span_mm, union_length
from damagescore.edge.record import Edge, Layer
from damagescore.edge.region import visible_length_mm
from damagescore.quantity import (
    Contribution,
    Measured,
    NotMeasured,
    Quantity,
    from_budget,
    total,
)
from damagescore.scale.record import Scale
from damagescore.totals import blind_reason, hidden_mm, may_be_more, totals_of

Points = NDArray[np.float64]
Side = Literal["upper", "lower"]
BondLine = tuple[int, Side]


class ShareReader:
    """Shares within one photo, from its plain measurement.

    Parameters
    ----------
    measurement : mapping
        Of schema damagescore/measurement/1, with "edge", "layers" and "scale".
    """

    def __init__(self, measurement: Mapping[str, Any]) -> None:
        self._plain = measurement

    @property
    def layers(self) -> tuple[int, ...]:
        """Indices of the rubber layers."""
        found = self._plain.get("layers") or ()
        return tuple(x["index"] for x in found if x["kind"] == "rubber")

    @cached_property
    def _edge(self) -> Edge | None:
        frame, layers = self._plain.get("edge"), self._plain.get("layers")
        return Edge.from_dict({**frame, "layers": layers}) if frame and layers else None

    @cached_property
    def unjudged(self) -> tuple[Unjudged, ...]:
        """Rubber of the photo that could not be judged."""
        return tuple(Unjudged.from_dict(x) for x in self._plain.get("unjudged") or ())

    @cached_property
    def _scale(self) -> Scale | None:
        plain = self._plain.get("scale")
        return Scale.from_dict(plain) if plain and "surface" in plain else None

    def share(
        self, quantity: str, findings: Sequence[Mapping[str, Any]], *, layer: int | None
    ) -> Quantity:
        """Share in percent of one layer, or of all rubber layers where it is None.

        Parameters
        ----------
        quantity : str
            "crack_length": length along the layers on which a crack runs, over their
            visible length. "bond_gap_length": the same for bond gaps over the visible
            bond lines. "crumbling_area": crumbled over visible rubber.
        findings : sequence of mapping
            Those that count, of one kind, plain.
        layer : int or None
        """
        edge, scale = self._edge, self._scale
        if edge is None or scale is None:
            return NotMeasured(reason="The photo has no layers or no scale.", unit="%")
        stray = [f["id"] for f in findings if f.get("layer") not in self.layers]
        if layer is None and stray:
            reason = f"{', '.join(stray)}: in no known rubber layer."
            return NotMeasured(reason=reason, unit="%")
        mine = [f for f in findings if layer is None or f.get("layer") == layer]
        parts = [x for x in self.unjudged if layer is None or x.layer == layer]
        if not mine and not parts:
            return Measured(value=0.0, u=0.0, unit="%")
        read, only = [Finding.from_dict(f) for f in mine], _only(edge, layer)
        if quantity == "crumbling_area":
            return _crumbled(read, parts, only, scale)
        if quantity == "bond_gap_length":
            return _unbonded(read, hiding(parts, "bond_gap"), edge, scale, layer=layer)
        found = totals_of(read, only, scale=scale, unjudged=parts)
        return found["crack_extent_percent"]

    def hidden_mm(self, kind: FindingKind) -> float:
        """Length along the layers on which damage of a kind would not have been seen, mm."""
        edge, scale = self._edge, self._scale
        if edge is None or scale is None:
            return 0.0
        return hidden_mm(hiding(self.unjudged, kind), edge, scale)


def _only(edge: Edge, layer: int | None) -> Edge:
    if layer is None:
        return edge
    return replace(edge, layers=tuple(x for x in edge.layers if x.index == layer))


def _crumbled(
    findings: Sequence[Finding], parts: Sequence[Unjudged], edge: Edge, scale: Scale
) -> Quantity:
    areas = [f.quantities.get("area") for f in findings]
    known = [a for a in areas if isinstance(a, Measured)]
    if len(known) < len(areas):
        return NotMeasured(reason="An area could not be measured.", unit="%")
    whole = sum(visible_area_mm2(x, edge, scale=scale) for x in edge.rubber)
    if whole <= 0:
        return NotMeasured(reason="No rubber is visible.", unit="%")
    # What lies behind a mark is no part of the visible area to begin with.
    hidden = sum(amount(x.area) for x in parts if x.reason != HIDDEN)
    # The scale cancels in a ratio of two areas of one photo.
    summed = total([_without_scale(a) for a in known], unit="mm2")
    return may_be_more(
        summed.scaled(100 / whole, unit="%"), 100 * hidden / whole,
        blind=blind_reason(hidden, whole),
    )  # fmt: skip


def _without_scale(area: Measured) -> Measured:
    if not area.budget:
        return area
    kept = [c for c in area.budget if c.source != "scale"]
    return from_budget(area.value, kept, unit=area.unit)


def _unbonded(
    findings: Sequence[Finding],
    parts: Sequence[Unjudged],
    edge: Edge,
    scale: Scale,
    *,
    layer: int | None,
) -> Quantity:
    lines = bond_lines(edge, layer=layer)
    visible = {x.index: visible_length_mm(x, edge, scale) for x in edge.rubber}
    whole = sum(visible[index] for index, _ in lines)
    if whole <= 0:
        return NotMeasured(reason="No bond line is visible.", unit="%")
    on_line: dict[BondLine, list[Points]] = {}
    for finding in findings:
        for line in finding.lines_px:
            place = _nearest(line, finding.layer, lines=lines, edge=edge, scale=scale)
            if place is None:
                reason = f"{finding.id}: at no visible bond line."
                return NotMeasured(reason=reason, unit="%")
            on_line.setdefault(place, []).append(line)
    covered = sum(
        union_length(span_mm(line, edge, scale) for line in found) for found in on_line.values()
    )
    ends = [u for f in findings for u in _ends(f)]
    u = 100 * float(np.sqrt(np.sum(np.square(ends)))) / whole
    budget = (Contribution(source="gap ends", u=u),)
    found = from_budget(100 * covered / whole, budget, unit="%")
    # Each layer that is out of focus has as many bond lines out of focus.
    hidden = sum(
        hidden_mm([x for x in parts if x.layer == index], edge, scale) for index, _ in lines
    )
    return may_be_more(found, 100 * hidden / whole, blind=blind_reason(hidden, whole))


def bond_lines(edge: Edge, *, layer: int | None = None) -> dict[BondLine, Points]:
    """Borders of rubber layers at which a shim lies, by layer and side, photo pixels."""
    shims = {x.index for x in edge.shims}
    found: dict[BondLine, Points] = {}
    for rubber in _only(edge, layer).rubber:
        found |= _borders(rubber, shims)
    return found


def _borders(rubber: Layer, shims: set[int]) -> dict[BondLine, Points]:
    # Layers count upwards, so the next one lies at the upper border.
    borders: dict[BondLine, Points] = {}
    if rubber.index + 1 in shims:
        borders[rubber.index, "upper"] = rubber.upper_px
    if rubber.index - 1 in shims:
        borders[rubber.index, "lower"] = rubber.lower_px
    return borders


def _nearest(
    line: Points,
    layer: int | None,
    *,
    lines: Mapping[BondLine, Points],
    edge: Edge,
    scale: Scale,
) -> BondLine | None:
    """Bond line of the finding's layer that its points lie nearest to."""
    mine = {place: curve for place, curve in lines.items() if place[0] == layer}
    along, across = frame_mm(line, edge, scale)
    gaps = {}
    for place, curve in mine.items():
        at, height = frame_mm(curve, edge, scale)
        order = np.argsort(at)
        border = np.interp(along, at[order], height[order])
        gaps[place] = float(np.mean(np.abs(across - border)))
    return min(gaps, key=lambda place: gaps[place], default=None)


def _ends(finding: Finding) -> list[float]:
    length = finding.quantities.get("length")
    if not isinstance(length, Measured):
        return []
    return [c.u for c in length.budget if c.source != "scale"]
