"""Totals over the findings of one photo."""

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.record import Finding
from damagescore.damage.unjudged import Unjudged, amount, hiding, missed_lines
from damagescore.edge.along import Span, span_mm, union_length
from damagescore.edge.record import Edge
from damagescore.edge.region import visible_length_mm, visible_spans_mm
from damagescore.quantity import (
    NOT_JUDGED,
    Contribution,
    Measured,
    NotMeasured,
    Quantity,
    Unit,
    count_words,
    from_budget,
    rectangular,
    total,
)
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

TOTAL_UNITS: Mapping[str, Unit] = {
    "crack_length": "mm",
    "bond_gap_length": "mm",
    "crumbling_area": "mm2",
    "bulge_peak": "mm",
    "crack_extent_percent": "%",
}
MOSTLY_UNJUDGED = 0.5
"""Share of the rubber from which on "none found" says nothing."""

FACE_TOTALS = ("crack_length", "bond_gap_length", "crumbling_area", "crack_extent_percent")


def totals_of(
    findings: Iterable[Finding],
    edge: Edge,
    *,
    scale: Scale,
    unjudged: Iterable[Unjudged] = (),
) -> dict[str, Quantity]:
    """Totals over the findings of one photo.

    Every total has in its budget what may have been missed in rubber that could not be
    judged: of crumbling `missed_lines`, of cracks and gaps out of focus `hidden_mm`. None is
    measured where nothing was found and half of the rubber or more was unjudged.

    "crack_extent_percent" is the length along the layers on which a crack runs
    (overlaps counted once) as a share of the visible length of all rubber layers: that
    in the photo, in the inspector's region and outside what is kept from being judged.
    """
    findings, unjudged = tuple(findings), tuple(unjudged)
    blurred = hiding(unjudged, "crack")
    reason = _blind_reason(blurred, edge, scale)
    hidden = hidden_mm(blurred, edge, scale)
    cracks, gaps = (_sum(findings, x, "length", unit="mm") for x in ("crack", "bond_gap"))
    whole = sum(visible_length_mm(x, edge, scale) for x in edge.rubber) if hidden else 0.0
    extent = _extent_percent(findings, edge, scale=scale)
    return {
        "crack_length": may_be_more(cracks, hidden, blind=reason),
        "bond_gap_length": may_be_more(gaps, hidden, blind=reason),
        "crumbling_area": _crumbled(findings, edge, scale=scale, unjudged=unjudged),
        "bulge_peak": _highest(findings),
        "crack_extent_percent": may_be_more(
            extent, 100 * hidden / whole if whole else 0.0, blind=reason
        ),
    }


def hidden_mm(parts: Iterable[Unjudged], edge: Edge, scale: Scale) -> float:
    """Length along the layers of parts that could not be judged, overlaps counted once, mm."""
    spans: dict[int, list[Span]] = {}
    for part in parts:
        spans.setdefault(part.layer, []).append(span_mm(part.polygon_px, edge, scale))
    return sum(union_length(x) for x in spans.values())


def may_be_more(found: Quantity, hidden: float, *, blind: str = "") -> Quantity:
    """What was found, with what may be hidden besides.

    Between nothing and all of the length that could not be judged may be damaged: a
    rectangular distribution (GUM 4.3.7), as for an area (`missed_lines`).

    Parameters
    ----------
    found : Measured or NotMeasured
    hidden : float
        Length, or its share, in the unit of `found`.
    blind : str
        Why "none found" says nothing; empty where it does.
    """
    if isinstance(found, NotMeasured) or not hidden:
        return found
    if found.value == 0 and blind:
        return NotMeasured(reason=blind, unit=found.unit)
    more = Contribution(source=NOT_JUDGED, u=rectangular(hidden))
    return from_budget(found.value, (*found.budget, more), unit=found.unit)


def _blind_reason(parts: Iterable[Unjudged], edge: Edge, scale: Scale) -> str:
    """Why "none found" says nothing; empty where less than half of the rubber is unjudged."""
    blind = sum(amount(x.area) for x in parts)
    if not blind:
        return ""
    return blind_reason(blind, sum(scale.surface.area_mm2(x.polygon_px) for x in edge.rubber))


def blind_reason(blind: float, whole: float) -> str:
    """The reason where so much is unjudged that "none found" says nothing; else empty."""
    if blind < MOSTLY_UNJUDGED * whole:
        return ""
    return f"{min(100.0, 100 * blind / whole):.0f} % of the rubber could not be judged."


def _crumbled(
    findings: tuple[Finding, ...], edge: Edge, *, scale: Scale, unjudged: tuple[Unjudged, ...]
) -> Quantity:
    found = _sum(findings, "crumbling", "area", unit="mm2")
    if isinstance(found, NotMeasured):
        return found
    reason = _blind_reason(unjudged, edge, scale)
    if found.value == 0 and reason:
        return NotMeasured(reason=reason, unit="mm2")
    missed = missed_lines(unjudged, none_found=found.value == 0)
    return from_budget(found.value, found.budget + missed, unit="mm2")


def _highest(findings: tuple[Finding, ...]) -> Quantity:
    """The highest bulge; not measured where a layer is lost that may stand out more."""
    peaks = [f.quantities["peak"] for f in findings if "peak" in f.quantities]
    known = [p for p in peaks if isinstance(p, Measured)]
    highest = max(known, key=lambda p: p.value, default=_none_found("mm"))
    if len(known) == len(peaks):
        return highest
    lost = f"{count_words(len(peaks) - len(known), 'layer')} could not be measured"
    rest = f"; the others stand out by {highest.value:.2f} mm at most" if known else ""
    return NotMeasured(reason=f"{lost}{rest}.", unit="mm")


def _none_found(unit: Unit) -> Measured:
    return Measured(value=0.0, u=0.0, unit=unit)


def _sum(findings: tuple[Finding, ...], kind: str, name: str, *, unit: Unit) -> Quantity:
    parts = [f.quantities.get(name) for f in findings if f.kind == kind]
    missing = [p for p in parts if not isinstance(p, Measured)]
    if missing:
        return NotMeasured(
            reason=f"{count_words(len(missing), 'finding')} could not be measured.", unit=unit
        )
    known = [p for p in parts if isinstance(p, Measured)]
    return total(known, unit=unit) if known else _none_found(unit)


def _extent_percent(findings: tuple[Finding, ...], edge: Edge, *, scale: Scale) -> Quantity:
    visible = {x.index: visible_spans_mm(x, edge, scale) for x in edge.rubber}
    whole = sum(end - start for spans in visible.values() for start, end in spans)
    cracks = [f for f in findings if f.kind == "crack" and f.layer in visible]
    if whole <= 0:
        return NotMeasured(reason="No rubber layer is visible.", unit="%")
    if not cracks:
        return _none_found("%")
    covered = sum(
        union_length(
            [
                part
                for f in cracks
                if f.layer == index
                for line in f.lines_px
                for part in _within(span_mm(line, edge, scale), visible[index])
            ]
        )
        for index in visible
    )
    # The scale cancels in a share; what is left is where each crack ends.
    tips = [
        c.u
        for f in cracks
        if isinstance(length := f.quantities.get("length"), Measured)
        for c in length.budget
        if c.source != "scale"
    ]
    u_tips = 100 * float(np.sqrt(np.sum(np.square(tips)))) / whole
    lines = (Contribution(source="crack ends", u=u_tips),)
    return from_budget(100 * covered / whole, lines, unit="%")


def _within(span: Span, stretches: Iterable[Span]) -> list[Span]:
    """The parts of a span that lie in some stretches."""
    parts = [(max(span[0], a), min(span[1], b)) for a, b in stretches]
    return [(a, b) for a, b in parts if b > a]
