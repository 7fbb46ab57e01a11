"""What photos and hand measurements of an inspection say to limits."""

from collections.abc import Iterator, Mapping
from typing import Any

from damagescore.damage.unjudged import missed_lines
from damagescore.inspection.circumference import (
    circumference_observations,
    circumference_of,
)
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.inspection.shares import ShareReader
from damagescore.limits import Aspect, Observation, QuantityKind, quantities, quantity_kind
from damagescore.quantity import (
    NOT_JUDGED,
    Contribution,
    NotMeasured,
    Quantity,
    from_budget,
    quantity_from_dict,
    rectangular,
)

FOUND_IN: Mapping[str, tuple[str, str]] = {
    "crack_length": ("crack", "length"),
    "crack_width": ("crack", "width_max"),
    "bond_gap_length": ("bond_gap", "length"),
    "crumbling_area": ("crumbling", "area"),
    "bulge_peak": ("bulge", "peak"),
    "bulge_over_thickness": ("bulge", "peak_over_thickness"),
    "recess": ("bulge", "recess"),
}
"""By quantity: the kind of finding, and its key there."""


def observations_of(inspection: Inspection) -> tuple[Observation, ...]:
    """Everything that limits can be compared with.

    Rejected findings are left out. A photo that could not be judged gives an
    unmeasured value for all that its view would show. Photos of a round edge at clock
    positions speak together: damage on two of them counts once.
    """
    found: list[Observation] = []
    around = circumference_of(inspection)
    placed = set() if around is None else {p.number for p in around.photos}
    for number, entry in enumerate(inspection.photos, start=1):
        if number not in placed:
            found += _of_photo(entry, number)
    if around is not None:
        found += circumference_observations(around, FOUND_IN)
    for number, hand in enumerate(inspection.hand, start=1):
        label = quantity_kind(hand.quantity).label
        item = f"hand measurement {number} ({label}, gauge {hand.gauge_id})"
        found.append(
            Observation(
                quantity=hand.quantity,
                value=hand.value,
                item=item,
                layer=hand.layer,
                finding=True,
            )
        )
    return tuple(found)


def n_proposed(inspection: Inspection) -> int:
    """Count the findings that nobody has reviewed."""
    return sum(
        _state(entry, finding) == "proposed"
        for entry in inspection.photos
        for finding in entry.measurement.get("findings") or ()
    )


def _of_photo(entry: PhotoEntry, number: int) -> Iterator[Observation]:
    kinds = [k for k in quantities() if k.source == entry.view]
    refusal = _refusal(entry.measurement)
    if refusal:
        for kind in kinds:
            yield from _unseen(kind, refusal, number)
        return
    kept = [
        f for f in entry.measurement.get("findings") or () if _state(entry, f) != "rejected"
    ]
    proposed = {f["id"] for f in kept if _state(entry, f) == "proposed"}
    shares = ShareReader(entry.measurement)
    for kind in kinds:
        mine = [f for f in kept if f["kind"] == FOUND_IN[kind.name][0]]
        yield from _items(
            kind, mine, entry=entry, number=number, proposed=proposed, shares=shares
        )
        if kind.share_of:
            yield from _shares(kind, mine, shares=shares, number=number, proposed=proposed)


def _refusal(measurement: Mapping[str, Any]) -> str:
    """Why the photo cannot be judged; empty where it can."""
    quality = measurement.get("quality") or {}
    if quality.get("usable"):
        return ""
    reasons = [c["message"] for c in quality.get("checks", ()) if c["outcome"] == "refuse"]
    return f"The photo cannot be judged. {' '.join(reasons)}".strip()


def _unseen(kind: QuantityKind, reason: str, number: int) -> Iterator[Observation]:
    value = NotMeasured(reason=reason, unit=kind.unit)
    item = f"photo {number}"
    yield Observation(quantity=kind.name, value=value, item=item, photo=number)
    if kind.share_of:
        share = NotMeasured(reason=reason, unit="%")
        aspects: tuple[Aspect, ...] = ("layer_share", "part_share")
        for aspect in aspects:
            yield Observation(
                quantity=kind.name, value=share, item=item, photo=number, aspect=aspect
            )


def _items(
    kind: QuantityKind,
    findings: list[dict[str, Any]],
    *,
    entry: PhotoEntry,
    number: int,
    proposed: set[str],
    shares: ShareReader,
) -> Iterator[Observation]:
    any_item = False
    else_found = _nothing_else(kind, shares)
    for finding in findings:
        value = _value(kind, finding)
        if value is None:
            continue
        any_item = True
        yield Observation(
            quantity=kind.name,
            value=value,
            item=f"{finding['id']}, photo {number}",
            layer=finding.get("layer"),
            finding=True,
            proposed=finding["id"] in proposed,
            photo=number,
        )
    if not any_item:
        yield Observation(
            quantity=kind.name,
            value=_none_found(kind, entry.measurement, else_found),
            item=f"photo {number}: none found",
            photo=number,
        )
    elif _may_hide(else_found) or all(f["id"] in proposed for f in findings):
        # With all proposals left out the photo still says that nothing else was found, and
        # beside those confirmed something may be hidden in what could not be judged.
        yield Observation(
            quantity=kind.name,
            value=else_found,
            item=f"photo {number}: nothing else found",
            photo=number,
        )


def _value(kind: QuantityKind, finding: Mapping[str, Any]) -> Quantity | None:
    """Value of a finding; None where a bulge simply goes the other way."""
    key = FOUND_IN[kind.name][1]
    plain = (finding.get("quantities") or {}).get(key)
    if plain is not None:
        return quantity_from_dict(plain)
    if finding["kind"] == "bulge":
        return None
    return NotMeasured(reason=f"It has no {kind.label}.", unit=kind.unit)


def _may_hide(value: Quantity) -> bool:
    return isinstance(value, NotMeasured) or value.u > 0


def _none_found(
    kind: QuantityKind, measurement: Mapping[str, Any], else_found: Quantity
) -> Quantity:
    """The photo's own total if that found none; else zero and what may be missed."""
    has_any = any(
        f["kind"] == FOUND_IN[kind.name][0] for f in measurement.get("findings") or ()
    )
    name = "bulge_peak" if kind.source == "profile" else kind.name
    plain = (measurement.get("totals") or {}).get(name)
    if plain is None or has_any:
        return else_found
    if plain["value"] is None:
        return NotMeasured(reason=plain.get("reason", ""), unit=kind.unit)
    # The peak's total also says that there is no recess, and none over the thickness.
    return quantity_from_dict({**plain, "unit": kind.unit})


def _nothing_else(kind: QuantityKind, shares: ShareReader) -> Quantity:
    """Zero beside what was found, with what may be missed in parts that were unjudged."""
    lines: tuple[Contribution, ...] = ()
    blurred = shares.hidden_mm("crack")
    if kind.name == "crack_width" and blurred:
        why = f"{blurred:.1f} mm of the layers is out of focus, and cracks there have no width."
        return NotMeasured(reason=why, unit=kind.unit)
    if kind.name == "crumbling_area":
        lines = missed_lines(shares.unjudged, none_found=False)
    elif kind.name in ("crack_length", "bond_gap_length"):
        more = Contribution(source=NOT_JUDGED, u=rectangular(blurred))
        lines = (more,) if blurred else ()
    return from_budget(0.0, lines, unit=kind.unit)


def _shares(
    kind: QuantityKind,
    findings: list[dict[str, Any]],
    *,
    shares: ShareReader,
    number: int,
    proposed: set[str],
) -> Iterator[Observation]:
    sure = [f for f in findings if f["id"] not in proposed]
    doubtful = len(sure) < len(findings)
    for layer in (None, *shares.layers):
        value = shares.share(kind.name, findings, layer=layer)
        place = "all layers" if layer is None else f"layer {layer}"
        yield Observation(
            quantity=kind.name,
            value=value,
            item=f"{place}, photo {number}",
            layer=layer,
            aspect="part_share" if layer is None else "layer_share",
            photo=number,
            confirmed_value=(shares.share(kind.name, sure, layer=layer) if doubtful else None),
        )
    for finding in findings:
        if finding.get("layer") not in shares.layers:
            yield Observation(
                quantity=kind.name,
                item=f"{finding['id']}, photo {number}",
                value=NotMeasured(reason="It lies in no known rubber layer.", unit="%"),
                aspect="layer_share",
                photo=number,
                finding=True,
                proposed=finding["id"] in proposed,
            )


def _state(entry: PhotoEntry, finding: Mapping[str, Any]) -> str:
    review = entry.reviews.get(finding["id"])
    return "proposed" if review is None else review.state
