"""Where each layer and finding of a photo lies on the unrolled edge, as plain data."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.record import Finding
from damagescore.edge.along import Span, frame_mm, span_mm
from damagescore.edge.record import Edge, Layer
from damagescore.inspection import state_of
from damagescore.inspection.record import PhotoEntry
from damagescore.measure import Measurement
from damagescore.quantity import (
    COVERAGE_FACTOR_95,
    MM_PER_INCH,
    Length,
    Measured,
    NotMeasured,
    Quantity,
)
from damagescore.report.marks import STYLES
from damagescore.scale.record import Scale
from damagescore.ui.budget import budget_html
from damagescore.ui.known import Known, finding_from, measurement_from
from damagescore.ui.words import KIND_WORDS, main_quantity, quantity_words, value_words

Points = NDArray[np.float64]

MOST_POINTS = 80
"""Of one line on the map; more are not told apart on a screen."""


def plan_of(entry: PhotoEntry, *, unit: Length) -> dict[str, Any] | None:
    """Lay out the edge of a photo; None where it has no layers or no scale.

    Lengths run along the layers, in the unit chosen, from the left end of the edge that
    is seen; on a round edge they are arcs. Heights are shares of a layer, 0 at its upper
    border. Of a profile view, whose layers are seen end on, each finding is a bar as
    long as its peak, or as its recess, which is negative.
    """
    measurement = measurement_from(entry.measurement)
    edge, scale = measurement.edge, measurement.scale
    if edge is None or scale is None or not measurement.quality.usable:
        return None
    factor = MM_PER_INCH if unit == "in" else 1.0
    ground = _ground_of(entry, measurement)
    spans, start = ground.spans, ground.start
    bars = entry.view == "profile"
    findings = [
        _findings.of(f, state_of(entry, f["id"]), unit, ground)
        for f in entry.measurement["findings"]
    ]
    return {
        "photo": entry.sha256,
        "unit": unit,
        "bars": bars,
        "layers": [
            {
                "index": x.index,
                "rubber": x.kind == "rubber",
                "from": round((spans[x.index][0] - start) / factor, 4),
                "to": round((spans[x.index][1] - start) / factor, 4),
            }
            for x in edge.layers
        ],
        "findings": findings,
        "unseen": _unseen(measurement, ground, factor),
        "styles": {k: _style(k) for k in (*KIND_WORDS, "rejected", "unjudged")},
    }


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Ground:
    """What findings are laid out on: the same object until the photo's layers change."""

    measurement: Measurement
    layers: Any
    spans: Mapping[int, Span]

    @property
    def start(self) -> float:
        return min(s[0] for s in self.spans.values())


_grounds: dict[str, _Ground] = {}


def _ground_of(entry: PhotoEntry, measurement: Measurement) -> _Ground:
    known = _grounds.pop(entry.sha256, None)
    layers = entry.measurement["layers"]
    if known is None or known.layers is not layers:
        edge, scale = measurement.edge, measurement.scale
        assert edge is not None
        assert scale is not None
        spans = {x.index: span_mm(x.polygon_px, edge, scale) for x in edge.layers}
        # Remembered with many findings, so without the map of the layers and the findings.
        light = replace(measurement, edge=replace(edge), findings=())
        known = _Ground(measurement=light, layers=layers, spans=spans)
    _grounds[entry.sha256] = known
    for oldest in list(_grounds)[:-8]:  # as many photos as people look at at once
        _grounds.pop(oldest, None)
    return known


def _placed(plain: Any, state: str, unit: Length, ground: _Ground) -> dict[str, Any]:
    measurement, finding = ground.measurement, finding_from(plain)
    edge, scale = measurement.edge, measurement.scale
    assert edge is not None
    assert scale is not None
    factor = MM_PER_INCH if unit == "in" else 1.0
    common = _common(finding, measurement, state=state, unit=unit)
    if measurement.view == "profile":
        return {**common, **_bar(finding, factor)}
    lines = _places(finding, edge, scale, start=ground.start, factor=factor)
    return {**common, "lines": lines}


_findings: Known[dict[str, Any]] = Known(_placed)


def _common(
    finding: Finding, measurement: Measurement, *, state: str, unit: Length
) -> dict[str, Any]:
    name = main_quantity(finding.kind, finding.quantities)
    main = finding.quantities.get(name, NotMeasured(reason="", unit="mm"))
    place = "no layer" if finding.layer is None else f"layer {finding.layer}"
    sign = "−" if name == "recess" else ""
    return {
        "id": finding.id,
        "kind": finding.kind,
        "layer": finding.layer,
        "state": state,
        "label": sign + value_words(main, unit=unit).split(" ± ")[0] if _known(main) else "",
        "title": f"{KIND_WORDS[finding.kind]} {finding.id}, {place}",
        "text": f"{quantity_words(name)} {value_words(main, unit=unit)} · {state}",
        "detail": _budgets(finding, measurement, unit=unit),
    }


def _budgets(finding: Finding, measurement: Measurement, *, unit: Length) -> str:
    parts = measurement.scale.budget if measurement.scale is not None else ()
    main = main_quantity(finding.kind, finding.quantities)
    found: dict[str, str] = {}
    for name, quantity in finding.quantities.items():
        if isinstance(quantity, Measured):
            chart = budget_html(quantity, parts, unit=unit)
            value = f"{quantity_words(name)} {value_words(quantity, unit=unit)}"
            found |= {name: f"<h4>{value}</h4>{chart}"} if chart else {}
    others = "".join(chart for name, chart in found.items() if name != main)
    more = f"<details><summary>Its other quantities</summary>{others}</details>"
    return found.get(main, "") + (more if others else "")


def _known(quantity: Quantity) -> bool:
    return isinstance(quantity, Measured)


def _bar(finding: Finding, factor: float) -> dict[str, Any]:
    name = main_quantity(finding.kind, finding.quantities)
    main = finding.quantities.get(name)
    if not isinstance(main, Measured):
        return {"value": None, "half": 0.0}
    sign = -1 if name == "recess" else 1
    return {
        "value": round(sign * main.value / factor, 5),
        "half": round(COVERAGE_FACTOR_95 * main.u / factor, 5),
    }


def _unseen(measurement: Measurement, ground: _Ground, factor: float) -> list[dict[str, Any]]:
    """Outlines of the rubber that could not be judged, placed as findings are."""
    edge, scale = measurement.edge, measurement.scale
    assert edge is not None
    assert scale is not None
    return [
        _place(x.polygon_px, x.layer, edge, scale, start=ground.start, factor=factor)
        for x in measurement.unjudged
    ]


def _places(
    finding: Finding, edge: Edge, scale: Scale, *, start: float, factor: float
) -> list[dict[str, Any]]:
    """Lines of a finding, each point as its position along and its share of the layer."""
    drawn = [(line, False) for line in finding.lines_px]
    drawn += [(finding.polygon_px, True)] if finding.polygon_px is not None else []
    return [
        {
            "closed": closed,
            **_place(points, finding.layer, edge, scale, start=start, factor=factor),
        }
        for points, closed in drawn
    ]


def _place(
    points: Points, index: int | None, edge: Edge, scale: Scale, *, start: float, factor: float
) -> dict[str, Any]:
    """The layer of a line, and its points as position along and share of that layer."""
    thin = points[:: max(1, len(points) // MOST_POINTS)]
    layer = _layer_of(index, thin, edge, scale)
    along, share = _within(thin, layer, edge, scale)
    placed = np.column_stack([(along - start) / factor, share])
    return {"layer": layer.index, "points": np.round(placed, 4).tolist()}


def _layer_of(index: int | None, points: Points, edge: Edge, scale: Scale) -> Layer:
    """The layer that a finding names, else the one whose middle lies nearest."""
    named = [x for x in edge.layers if x.index == index]
    if named:
        return named[0]

    def away(layer: Layer) -> float:
        _, share = _within(points, layer, edge, scale)
        return float(np.abs(share - 0.5).mean())

    return min(edge.layers, key=away)


def _within(points: Points, layer: Layer, edge: Edge, scale: Scale) -> tuple[Points, Points]:
    along, across = frame_mm(points, edge, scale)
    upper, lower = (_height(c, along, edge, scale) for c in (layer.upper_px, layer.lower_px))
    share = (across - upper) / np.maximum(lower - upper, 1e-6)
    return along, np.clip(share, 0.0, 1.0)


def _height(curve: Points, along: Points, edge: Edge, scale: Scale) -> Points:
    at, height = frame_mm(curve, edge, scale)
    order: Sequence[int] = np.argsort(at)  # type: ignore[assignment]
    return np.interp(along, at[order], height[order])


def _style(name: str) -> Mapping[str, Any]:
    style = STYLES[name]
    red, green, blue = style.rgb
    return {
        "colour": f"#{red:02x}{green:02x}{blue:02x}",
        "width": 1.0 + style.width,
        "dash": [1.2 * d for d in style.dash],
        "words": style.name.split(":")[0],
    }
