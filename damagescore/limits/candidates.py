"""From observations to the values that one criterion is compared with."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from damagescore.limits.decision import conformity_probability
from damagescore.limits.observation import Aspect, Observation
from damagescore.limits.record import Criterion
from damagescore.quantity import (
    NOT_JUDGED,
    Contribution,
    Measured,
    NotMeasured,
    Quantity,
    count_words,
    from_budget,
    rectangular,
    total,
)

LEAST_HIDDEN = 1.0
"""mm or mm2; less that could not be judged hides no damage of a size that is proposed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One value that a criterion is compared with, and what is missing from it."""

    value: Quantity
    item: str
    layer: int | None = None
    missing: str = ""


def candidates(
    criterion: Criterion, observations: Iterable[Observation]
) -> tuple[Candidate, ...]:
    """Give all values that the criterion looks at; none when nothing was measured.

    Largest and smallest look at each item, a share at each photo and layer, a total
    and a count at their sum over the part or over each layer.
    """
    aspect = _aspect(criterion)
    seen = [o for o in observations if (o.quantity, o.aspect) == (criterion.quantity, aspect)]
    if criterion.statistic not in ("total", "count"):
        return tuple(Candidate(value=o.value, item=o.item, layer=o.layer) for o in seen)
    if not seen:
        return ()
    groups = _layers(seen) if criterion.scope == "layer" else {None: seen}
    return tuple(_sum(criterion, group, layer=layer) for layer, group in groups.items())


def _aspect(criterion: Criterion) -> Aspect:
    if criterion.statistic != "share":
        return "item"
    return "layer_share" if criterion.scope == "layer" else "part_share"


def _layers(seen: Sequence[Observation]) -> dict[int | None, list[Observation]]:
    """Group by layer; what says something of a whole photo belongs to each layer."""
    whole = [o for o in seen if not o.finding]
    layers = dict.fromkeys(o.layer for o in seen if o.finding) or {None: None}
    return {
        layer: [*whole, *(o for o in seen if o.finding and o.layer == layer)]
        for layer in layers
    }


def _sum(criterion: Criterion, group: Sequence[Observation], *, layer: int | None) -> Candidate:
    findings = [o for o in group if o.finding]
    unknown = [o for o in group if isinstance(o.value, NotMeasured) and _matters(criterion, o)]
    counted = _count(criterion, findings) if criterion.statistic == "count" else None
    value = counted or _total(criterion, findings, hidden=_hidden(group))
    blind = _blind(group) if criterion.statistic == "count" else []
    place = "" if layer is None else f" in layer {layer}"
    if len(unknown) == len(group):
        return Candidate(value=unknown[0].value, item=unknown[0].item, layer=layer)
    return Candidate(
        value=value,
        item=f"{count_words(len(findings), 'finding')}{place}",
        layer=layer,
        missing=" ".join(dict.fromkeys([*(_why(o) for o in unknown), *blind])),
    )


def _matters(criterion: Criterion, observation: Observation) -> bool:
    """A finding of unknown size still counts as one where every size counts."""
    counts_anyway = criterion.statistic == "count" and criterion.min_size is None
    return not (counts_anyway and observation.finding)


def _why(observation: Observation) -> str:
    assert isinstance(observation.value, NotMeasured)
    reason = observation.value.reason or "could not be measured."
    return f"{observation.item}: {reason}"


def _chance(criterion: Criterion, value: Measured) -> float:
    """Probability that an item reaches the smallest size that counts."""
    least = criterion.base_min_size
    return 1.0 if least is None else conformity_probability(value, lower=least)


def _counts(criterion: Criterion, value: Measured) -> bool:
    least = criterion.base_min_size
    return least is None or value.value >= least


def _known(findings: Iterable[Observation]) -> list[Measured]:
    return [o.value for o in findings if isinstance(o.value, Measured)]


def _count(criterion: Criterion, findings: Sequence[Observation]) -> Measured:
    """Count items; the uncertainty is that of items near the smallest size (binomial)."""
    known = _known(findings)
    sure = sum(_counts(criterion, v) for v in known)
    if criterion.min_size is None:
        sure += len(findings) - len(known)
    spread = [p * (1 - p) for p in (_chance(criterion, v) for v in known)]
    return Measured(value=float(sure), u=math.sqrt(math.fsum(spread)), unit="1")


def _blind(group: Iterable[Observation]) -> list[str]:
    """Photos of which a part hides so much that the count may be larger."""
    return [
        f"{o.item}, but a part of the rubber could not be judged."
        for o in group
        if any(c.u >= rectangular(LEAST_HIDDEN) for c in _not_judged(o))
    ]


def _not_judged(observation: Observation) -> list[Contribution]:
    value = observation.value
    if observation.finding or not isinstance(value, Measured) or value.value:
        return []
    return [c for c in value.budget if c.source == NOT_JUDGED]


def _hidden(group: Iterable[Observation]) -> list[Contribution]:
    """What may be there beside the findings, from photos that show only a part."""
    u = math.sqrt(math.fsum(c.u**2 for o in group for c in _not_judged(o)))
    return [Contribution(source=NOT_JUDGED, u=u)] if u else []


def _total(
    criterion: Criterion, findings: Sequence[Observation], *, hidden: Sequence[Contribution]
) -> Measured:
    """Sum the items that count; the scale acts on all of them alike."""
    known = _known(findings)
    unit = criterion.base_unit
    parts = [v for v in known if _counts(criterion, v)]
    summed = total(parts, unit=unit) if parts else Measured(value=0.0, u=0.0, unit=unit)
    doubts = [(p := _chance(criterion, v)) * (1 - p) * v.value**2 for v in known]
    doubt = math.sqrt(math.fsum(doubts))
    if doubt == 0 and not hidden:
        return summed
    lines = (*summed.budget, *hidden)
    if doubt:
        lines += (Contribution(source="items near the smallest size", u=doubt),)
    return from_budget(summed.value, lines, unit=unit)
