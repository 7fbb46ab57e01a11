"""What the photos of a round edge say to limits together: the circumference as one."""

import math
from collections.abc import Iterator, Mapping, Sequence

from damagescore.around import Around, Damage, look_around, round_photo, total_deg, union
from damagescore.damage.unjudged import missed_lines
from damagescore.inspection.record import Inspection
from damagescore.inspection.shares import bond_lines
from damagescore.limits import Aspect, Observation, QuantityKind, quantities
from damagescore.quantity import (
    Contribution,
    Measured,
    NotMeasured,
    Quantity,
    from_budget,
    total,
)

REST = "rest of the circumference"


def circumference_of(inspection: Inspection) -> Around | None:
    """Join the face photos that have a radius and a clock position; None where none has."""
    placed = []
    for number, entry in enumerate(inspection.photos, start=1):
        states = {name: review.state for name, review in entry.reviews.items()}
        photo = round_photo(entry.measurement, entry.options, number=number, states=states)
        if photo is not None:
            placed.append(photo)
    return look_around(placed) if placed else None


def circumference_observations(
    around: Around, found_in: Mapping[str, tuple[str, str]]
) -> Iterator[Observation]:
    """Give what limits can be compared with, for the whole circumference.

    Each damage counts once. Where a part was not seen there is an unmeasured value beside
    what was found, so that nothing short of an exceeded limit is decided.

    Parameters
    ----------
    around : Around
    found_in : mapping
        By quantity: the kind of finding, and its key there.
    """
    for kind in (k for k in quantities() if k.source == "face"):
        finding_kind, key = found_in[kind.name]
        mine = [d for d in around.damages if d.kind == finding_kind]
        yield from _items(kind, mine, around, key=key, finding_kind=finding_kind)
        if not around.complete:
            yield _unseen(kind, around, aspect="item")
        if kind.share_of:
            yield from _shares(kind, mine, around, finding_kind=finding_kind)


def _items(
    kind: QuantityKind,
    damages: Sequence[Damage],
    around: Around,
    *,
    key: str,
    finding_kind: str,
) -> Iterator[Observation]:
    for damage in damages:
        yield Observation(
            quantity=kind.name, value=_value(damage.quantities.get(key), kind),
            item=damage.name, layer=damage.layer, finding=True, proposed=damage.proposed,
        )  # fmt: skip
    strays = [s for s in around.strays if s.finding.kind == finding_kind]
    for stray in strays:
        yield Observation(
            quantity=kind.name, value=_value(stray.finding.quantities.get(key), kind),
            item=stray.name, finding=True, proposed=stray.state != "confirmed",
        )  # fmt: skip
    sure = any(not d.proposed for d in damages) or any(s.state == "confirmed" for s in strays)
    missed = _missed(around, around.layers) if finding_kind == "crumbling" else ()
    if (missed or not sure) and around.seen:
        also = "nothing else" if damages or strays else "none"
        yield Observation(
            quantity=kind.name, value=from_budget(0.0, missed, unit=kind.unit),
            item=f"{_seen_words(around)}: {also} found",
        )  # fmt: skip


def _missed(around: Around, layers: Sequence[int]) -> tuple[Contribution, ...]:
    """What crumbling may be hidden in dark, glaring or covered rubber of the photos, mm2.

    A part that two photos show counts twice: one of them may hide it as well.
    """
    parts = [x for photo in around.photos for x in photo.unjudged if x.layer in layers]
    return missed_lines(parts, none_found=False)


def _seen_words(around: Around) -> str:
    return f"{math.floor(around.seen_deg.value + 1e-6)} deg seen"


def _value(quantity: Quantity | None, kind: QuantityKind) -> Quantity:
    return quantity or NotMeasured(reason=f"It has no {kind.label}.", unit=kind.unit)


def _unseen(
    kind: QuantityKind, around: Around, *, aspect: Aspect, layer: int | None = None
) -> Observation:
    unit = kind.unit if aspect == "item" else "%"
    value = NotMeasured(reason=around.rest, unit=unit)
    return Observation(quantity=kind.name, value=value, item=REST, aspect=aspect, layer=layer)


def _shares(
    kind: QuantityKind, damages: Sequence[Damage], around: Around, *, finding_kind: str
) -> Iterator[Observation]:
    sure = [d for d in damages if not d.proposed]
    for layer in (None, *around.layers):
        aspect: Aspect = "part_share" if layer is None else "layer_share"
        place = "all layers" if layer is None else f"layer {layer}"
        yield Observation(
            quantity=kind.name, value=share_around(kind.name, damages, around, layer=layer),
            item=f"{place}, whole circumference", layer=layer, aspect=aspect,
            confirmed_value=(
                share_around(kind.name, sure, around, layer=layer)
                if len(sure) < len(damages) else None
            ),
        )  # fmt: skip
        if not around.complete:
            yield _unseen(kind, around, aspect=aspect, layer=layer)
    for stray in (s for s in around.strays if s.finding.kind == finding_kind):
        reason = NotMeasured(reason="It lies in no known rubber layer.", unit="%")
        yield Observation(
            quantity=kind.name, value=reason, item=stray.name, aspect="layer_share",
            finding=True, proposed=stray.state != "confirmed",
        )  # fmt: skip


def share_around(
    quantity: str, damages: Sequence[Damage], around: Around, *, layer: int | None
) -> Quantity:
    """Share in percent of the whole circumference of one layer, or of all of them.

    Where a part was not seen this is what is known: the share is not smaller.

    Parameters
    ----------
    quantity : str
        "crack_length" and "bond_gap_length": the angle on which there is one over the
        whole turn, per layer and per bond line; "crumbling_area": crumbled area over
        circumference times thickness of the layers.
    damages : sequence of Damage
        Of one kind.
    around : Around
    layer : int or None
    """
    layers = [x for x in around.layers if layer is None or x == layer]
    if not layers:
        return NotMeasured(reason=around.rest or "No rubber layer was seen.", unit="%")
    mine = [d for d in damages if d.layer in layers]
    if quantity == "crumbling_area":
        return _area_share(mine, around, layers)
    if quantity == "bond_gap_length":
        return _arc_share(mine, around, _bond_places(around, layers))
    return _arc_share(mine, around, [(x, "") for x in layers])


def _bond_places(around: Around, layers: Sequence[int]) -> list[tuple[int, str]]:
    edge = next(p.edge for p in around.photos if p.edge is not None)
    return [place for place in bond_lines(edge) if place[0] in layers]


def _arc_share(
    damages: Sequence[Damage], around: Around, places: Sequence[tuple[int, str]]
) -> Quantity:
    if not places:
        return NotMeasured(reason="No bond line is visible.", unit="%")
    covered = sum(
        total_deg(union(d.arc for d in damages if (d.layer, d.side) == place))
        for place in places
    )
    whole_mm = len(places) * around.circumference_mm
    ends_mm = math.hypot(*(u for d in damages for u in _ends_mm(d)))
    share = 100 * covered / (360 * len(places))
    u_scale = max((p.scale.u_relative for p in around.photos if p.scale), default=0.0)
    lines = (
        Contribution(source="damage ends", u=100 * ends_mm / whole_mm),
        Contribution(source="scale", u=share * u_scale),
    )
    return from_budget(share, lines, unit="%")


def _ends_mm(damage: Damage) -> list[float]:
    length = damage.quantities.get("length")
    if not isinstance(length, Measured):
        return []
    return [c.u for c in length.budget if c.source != "scale"]


def _area_share(damages: Sequence[Damage], around: Around, layers: Sequence[int]) -> Quantity:
    areas = [d.quantities.get("area") for d in damages]
    known = [a for a in areas if isinstance(a, Measured)]
    if len(known) < len(areas):
        return NotMeasured(reason="An area could not be measured.", unit="%")
    edge = next(p.edge for p in around.photos if p.edge is not None)
    thick = [x.thickness for x in edge.rubber if x.index in layers]
    heights = [t for t in thick if isinstance(t, Measured)]
    if len(heights) < len(layers):
        return NotMeasured(reason="The thickness of a layer is not known.", unit="%")
    height_mm = math.fsum(t.value for t in heights)
    factor = 100 / (around.circumference_mm * height_mm)
    summed = total(known, unit="mm2") if known else Measured(value=0.0, u=0.0, unit="mm2")
    lines = (*summed.budget, *_missed(around, layers))
    share = from_budget(summed.value, lines, unit="mm2").scaled(factor, unit="%")
    u_height = share.value * math.hypot(*(t.u for t in heights)) / height_mm
    return from_budget(
        share.value, (*share.budget, Contribution(source="layer thickness", u=u_height)),
        unit="%",
    )  # fmt: skip
