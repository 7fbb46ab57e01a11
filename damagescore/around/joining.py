"""Photos of one round edge joined: what was seen of it, and each damage counted once."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from damagescore.around.arcs import (
    TURN,
    Arc,
    complement,
    difference,
    intersection,
    total_deg,
    union,
    widened,
)
from damagescore.around.pieces import share_beyond
from damagescore.around.view import RoundPhoto, Sighting, Stray
from damagescore.quantity import (
    Contribution,
    Measured,
    NotMeasured,
    Quantity,
    from_budget,
)

K95 = 1.96

U_END_MM = 1.0
"""How far the ends of one damage differ between two photos of it, standard deviation: the
tips of cracks taper, and other light shows other ends (common practice, no source)."""

SAME_HEIGHT = 0.25
"""Two sightings of one damage lie at the same height of their layer within this share."""

PLACE = "place of the photo on the circumference"

ADDED = ("length", "area", "extent")
"""Quantities that grow where a second photo shows more of a damage; others keep the largest."""

RADII_ALIKE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """One damage on the circumference, counted once.

    Parameters
    ----------
    name : str
        The finding that counts, with the others that show the same.
    arc : Arc
        Over all photos that show it.
    quantities : mapping of str to Quantity
        Of the photo that shows it best, and what others show beyond it.
    u_place_deg : float
        Standard uncertainty (k = 1) of its place.
    proposed : bool
        True where nobody confirmed any of its sightings.
    sightings : tuple of Sighting
        The one that counts first.
    """

    name: str
    kind: str
    layer: int
    side: str
    arc: Arc
    quantities: Mapping[str, Quantity]
    u_place_deg: float
    proposed: bool
    sightings: tuple[Sighting, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """The circumference as all placed photos show it.

    Parameters
    ----------
    photos : tuple of RoundPhoto
    radius_mm : float
    layers : tuple of int
        Rubber layers, the same in each usable photo; empty where they are not.
    seen : tuple of Arc
        Where every rubber layer was seen.
    seen_deg : Measured
        Angle that `seen` covers.
    complete : bool
        True where the whole circumference was seen even if each photo's place is off by
        what its uncertainty allows (95 %, one-sided).
    rest : str
        What cannot be said, in one sentence; empty where complete.
    damages : tuple of Damage
    strays : tuple of Stray
        Findings that could not be placed; each counts by itself.
    """

    photos: tuple[RoundPhoto, ...]
    radius_mm: float
    layers: tuple[int, ...]
    seen: tuple[Arc, ...]
    seen_deg: Measured
    complete: bool
    rest: str
    damages: tuple[Damage, ...]
    strays: tuple[Stray, ...]

    @property
    def circumference_mm(self) -> float:
        return 2 * math.pi * self.radius_mm

    def unseen(self) -> tuple[Arc, ...]:
        return complement(self.seen)


def look_around(photos: Sequence[RoundPhoto]) -> Around:
    """Join the photos of one round edge.

    Photos that disagree about the number of layers or the radius are not joined: then
    each finding counts by itself and the circumference is not fully seen.

    Parameters
    ----------
    photos : sequence of RoundPhoto
        At least one.
    """
    usable = [p for p in photos if p.usable]
    fault = _disagreement(usable)
    layers = usable[0].layers if usable and not fault else ()
    seen = _seen_by_all(usable, layers, sure=False)
    sure = _seen_by_all(usable, layers, sure=True)
    complete = bool(layers) and total_deg(sure) >= TURN - 1e-9
    seen_deg = _seen_deg(usable, layers, seen)
    return Around(
        photos=tuple(photos),
        radius_mm=photos[0].radius_mm,
        layers=layers,
        seen=seen,
        seen_deg=seen_deg,
        complete=complete,
        rest="" if complete else fault or _rest(seen_deg.value),
        damages=_damages(usable, joined=not fault),
        strays=tuple(s for p in photos for s in p.strays),
    )


def _disagreement(usable: Sequence[RoundPhoto]) -> str:
    counts = {len(p.layers): p.number for p in usable}
    if len(counts) > 1:
        said = " and ".join(f"photo {n} shows {k}" for k, n in sorted(counts.items()))
        return (
            f"The photos show different numbers of rubber layers ({said}), so they cannot be "
            "joined; correct the layers or give their number."
        )
    radii = [p.radius_mm for p in usable]
    if radii and max(radii) > (1 + RADII_ALIKE) * min(radii):
        return (
            f"The photos were measured with radii of {min(radii):g} and {max(radii):g} mm, "
            "so they cannot be joined; measure them again with one radius."
        )
    return ""


def _rest(seen_deg: float) -> str:
    shown = math.floor(seen_deg + 1e-6)
    if shown >= TURN:
        return (
            "The photos overlap by less than their places are known, so a part between them "
            "may be unseen; take one more photo there."
        )
    return f"{shown} deg of 360 seen; nothing can be said of the rest."


def _seen_by_all(
    usable: Sequence[RoundPhoto], layers: Sequence[int], *, sure: bool
) -> tuple[Arc, ...]:
    """Where every layer was seen by some photo."""
    seen: tuple[Arc, ...] | None = None
    for layer in layers:
        mine = union(
            arc for p in usable for arc in (p.sure(layer) if sure else p.arcs.get(layer, ()))
        )
        seen = mine if seen is None else intersection(seen, mine)
    return seen or ()


def _seen_deg(
    usable: Sequence[RoundPhoto], layers: Sequence[int], seen: Sequence[Arc]
) -> Measured:
    """The angle seen, with what each photo's place does to it.

    Turning one photo by a little moves only those of its ends that no other photo covers:
    the derivative is the number of its free ends forward less those backward, taken here by
    turning it both ways.
    """
    value = total_deg(seen)
    lines = []
    for photo in usable:
        changes = [
            total_deg(_seen_by_all(_turned(usable, photo, by), layers, sure=False)) - value
            for by in (photo.u_deg, -photo.u_deg)
        ]
        u = math.hypot(*changes) / math.sqrt(2)
        lines.append(Contribution(source=f"{PLACE}, photo {photo.number}", u=u))
    return from_budget(value, lines, unit="deg")


def _turned(usable: Sequence[RoundPhoto], photo: RoundPhoto, by: float) -> list[RoundPhoto]:
    arcs = {k: tuple(((s + by) % TURN, e) for s, e in v) for k, v in photo.arcs.items()}
    return [replace(p, arcs=arcs) if p is photo else p for p in usable]


def _damages(usable: Sequence[RoundPhoto], *, joined: bool) -> tuple[Damage, ...]:
    by_number = {p.number: p for p in usable}
    sightings = [s for p in usable for s in p.sightings]
    if not joined:
        return tuple(_damage([s], by_number)[0] for s in sightings)
    return tuple(
        d for group in _groups(sightings, by_number) for d in _damage(group, by_number)
    )


def _groups(
    sightings: Sequence[Sighting], photos: Mapping[int, RoundPhoto]
) -> list[list[Sighting]]:
    """Sightings of one damage each: those that are the same in pairs, put together."""
    groups: list[list[Sighting]] = []
    for sighting in sightings:
        mine = [g for g in groups if any(same(sighting, other, photos) for other in g)]
        groups = [g for g in groups if not any(g is m for m in mine)]
        groups.append([*(s for g in mine for s in g), sighting])
    return groups


def same(one: Sighting, other: Sighting, photos: Mapping[int, RoundPhoto]) -> bool:
    """Whether two photos show the same damage.

    Same kind, layer, bond line and height; and in the part that both photos see, one lies
    within the other once the uncertainty of both photos' places is allowed for (95 %).
    Damage that only one of them could see is never joined.
    """
    alike = (
        one.photo != other.photo
        and (one.finding.kind, one.finding.layer, one.side)
        == (other.finding.kind, other.finding.layer, other.side)
        and abs(one.height - other.height) <= SAME_HEIGHT
    )
    if not alike:
        return False
    layer = one.finding.layer
    assert layer is not None
    mine, theirs = photos[one.photo], photos[other.photo]
    both = intersection(mine.arcs[layer], theirs.arcs[layer])
    first, second = intersection([one.arc], both), intersection([other.arc], both)
    if not first or not second:
        return False
    slack = K95 * _u_between(mine, theirs)
    return _within(first, second, slack) or _within(second, first, slack)


def _within(inner: Sequence[Arc], outer: Sequence[Arc], slack_deg: float) -> bool:
    return total_deg(difference(inner, [widened(a, slack_deg) for a in outer])) < 1e-9


def _u_between(one: RoundPhoto, other: RoundPhoto) -> float:
    """Standard uncertainty of an angle between damage on two photos, degrees."""
    ends = math.degrees(U_END_MM / one.radius_mm)
    return math.hypot(one.u_deg, other.u_deg, math.sqrt(2) * ends)


def _damage(group: Sequence[Sighting], photos: Mapping[int, RoundPhoto]) -> list[Damage]:
    """Count the photo that shows the group best; add what others show beyond it."""
    ranked = sorted(group, key=lambda s: _rank(s, photos))
    best = ranked[0].photo
    kept = [s for s in ranked if s.photo == best]
    others = [s for s in ranked if s.photo != best]
    layer = kept[0].finding.layer
    assert layer is not None
    found = []
    for sighting in kept:
        last = sighting is kept[-1]
        mine = [o for o in others if last or same(sighting, o, photos)]
        others = [o for o in others if not any(o is m for m in mine)]
        found.append(_joined(sighting, mine, photos, layer=layer))
    return found


def _rank(sighting: Sighting, photos: Mapping[int, RoundPhoto]) -> tuple[bool, bool, float]:
    """Reviewed before proposed, whole before cut off, facing before turned away."""
    return (
        sighting.state != "confirmed",
        _cut_off(sighting, photos[sighting.photo]),
        sighting.turn_deg,
    )


def _cut_off(sighting: Sighting, photo: RoundPhoto) -> bool:
    """Whether the damage runs to the end of what the photo shows of its layer."""
    layer = sighting.finding.layer
    assert layer is not None
    reach = math.degrees(U_END_MM / photo.radius_mm)
    return total_deg(difference([widened(sighting.arc, reach)], photo.arcs[layer])) > 1e-9


def _joined(
    best: Sighting, others: Sequence[Sighting], photos: Mapping[int, RoundPhoto], *, layer: int
) -> Damage:
    photo = photos[best.photo]
    quantities = dict(best.finding.quantities)
    covered, arcs = photo.arcs[layer], [best.arc]
    # A damage that ends within the best photo goes on in no other, whatever their places.
    for other in others if _cut_off(best, photo) else ():
        second = photos[other.photo]
        beyond = difference([other.arc], covered)
        if total_deg(beyond) > 0:
            share = share_beyond(other, second, beyond)
            u_share = min(math.hypot(photo.u_deg, second.u_deg) / other.arc[1], 1.0)
            quantities = _added(quantities, other, share, u_share=u_share)
            arcs += beyond
        covered = union([*covered, *second.arcs[layer]])
    shown = [best, *others]
    also = f" (also {', '.join(o.name for o in others)})" if others else ""
    return Damage(
        name=f"{best.name}{also}", kind=best.finding.kind, layer=layer, side=best.side,
        arc=_hull(arcs), quantities=quantities, u_place_deg=photo.u_deg,
        proposed=all(s.state != "confirmed" for s in shown), sightings=tuple(shown),
    )  # fmt: skip


def _added(
    quantities: Mapping[str, Quantity],
    other: Sighting,
    share: float,
    *,
    u_share: float,
) -> dict[str, Quantity]:
    """Quantities of a damage with the share of a second sighting that the first does not show.

    The joint may lie elsewhere within the uncertainty of both places (`u_share`, a share of
    the second sighting's arc); its measure is taken to be even along that arc.
    """
    done: dict[str, Quantity] = {}
    for name, quantity in quantities.items():
        more = other.finding.quantities.get(name)
        if not isinstance(quantity, Measured) or not isinstance(more, Measured):
            done[name] = quantity if isinstance(quantity, NotMeasured) else more or quantity
        elif name in ADDED:
            part = more.scaled(share, unit=more.unit)
            done[name] = _sum(quantity, part, u=u_share * more.value)
        else:
            done[name] = max(quantity, more, key=lambda q: q.value)
    return done


def _sum(first: Measured, second: Measured, *, u: float) -> Measured:
    lines = (*first.budget, *second.budget) or (
        Contribution(source="first photo", u=first.u),
        Contribution(source="second photo", u=second.u),
    )
    joint = Contribution(source=PLACE, u=u)
    return from_budget(first.value + second.value, (*lines, joint), unit=first.unit)


def _hull(arcs: Sequence[Arc]) -> Arc:
    """The arcs as one: where they leave gaps, the way over the smaller ones."""
    gaps = complement(arcs)
    if not gaps:
        return 0.0, TURN
    start, extent = max(gaps, key=lambda g: g[1])
    return (start + extent) % TURN, TURN - extent
