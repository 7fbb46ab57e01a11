"""Compare what was seen with a limit set: the worst criterion is the result."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Literal

from damagescore.limits.candidates import Candidate, candidates
from damagescore.limits.decision import CriterionOutcome, Decision, DecisionRule, decide
from damagescore.limits.observation import Observation
from damagescore.limits.record import Criterion, LimitSet
from damagescore.quantity import (
    Measured,
    NotMeasured,
    Quantity,
    Unit,
    count_words,
    quantity_from_dict,
)

Outcome = Literal["within", "borderline", "exceeded", "not_fully_assessed"]

SEVERITY: Mapping[str, int] = {"within": 0, "not_measured": 1, "borderline": 2, "exceeded": 3}
"""Of the outcomes of single values, for naming the worst."""

OVERLAP_NOTE = (
    "Totals and counts are sums over the photos; damage that two photos show is counted twice."
)
SHARE_NOTE = "A share is that of the worst photo; photos are not joined."


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemResult:
    """One value that a criterion was compared with."""

    item: str
    layer: int | None
    value: Quantity
    outcome: CriterionOutcome
    usage: float | None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CriterionResult:
    """The result of one criterion: that of its worst item.

    Parameters
    ----------
    id, text, quantity, statistic, scope, direction, inclusive
        As the criterion has them.
    limit : float
        In `unit`, the unit of `value`: mm, mm2, % or 1.
    limit_as_written, unit_as_written
        As the user's document has them.
    outcome : "within", "borderline", "exceeded" or "not_measured"
    complete : bool
        False where anything that the criterion looks at could not be measured; then
        the outcome is "exceeded" or "not_measured", whatever the rest shows.
    value : Measured or NotMeasured
        Of the worst measured item.
    usage, u_usage, probability_exceeding : float or None
        Of that item; `usage` is infinite where damage exceeds a limit of 0.
    item, layer
        What the worst item is.
    reason : str
        What could not be measured, and why.
    items : tuple of ItemResult
        Everything compared, worst first.
    """

    id: str
    text: str
    quantity: str
    statistic: str
    scope: str
    direction: str
    inclusive: bool
    limit: float
    unit: Unit
    limit_as_written: float
    unit_as_written: Unit
    outcome: CriterionOutcome
    complete: bool
    value: Quantity
    usage: float | None
    u_usage: float | None
    probability_exceeding: float | None
    item: str
    layer: int | None
    reason: str
    items: tuple[ItemResult, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """The result for the part.

    Parameters
    ----------
    outcome : "within", "borderline", "exceeded" or "not_fully_assessed"
        The worst criterion. A criterion that could not be fully measured leaves the
        part "not_fully_assessed", unless another is exceeded.
    score : float or None
        Largest usage times 100; 100 is at the limit. Infinite where damage exceeds a
        limit of 0; None where nothing was measured.
    fully_assessed : bool
    worst : str or None
        Id of the criterion with the largest usage.
    n_proposed : int
        Findings that nobody has reviewed; they count as damage until rejected.
    confirmed_outcome, confirmed_score
        The same when only reviewed findings count; equal when all are reviewed.
    title, revision, source_document, invented
        Of the limit set.
    rule : DecisionRule
    results : tuple of CriterionResult
        In the order of the limit set.
    notes : tuple of str
        What must be known to read the result rightly.
    """

    outcome: Outcome
    score: float | None
    fully_assessed: bool
    worst: str | None
    n_proposed: int
    confirmed_outcome: Outcome
    confirmed_score: float | None
    title: str
    revision: str
    source_document: str
    invented: bool
    rule: DecisionRule
    results: tuple[CriterionResult, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain form without infinities: those become None with an `_unbounded` flag."""
        plain = _fields(self)
        plain["rule"] = self.rule.to_dict()
        plain["notes"] = list(self.notes)
        plain["results"] = [_result_to_dict(r) for r in self.results]
        return _bounded(plain, ("score", "confirmed_score"))

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Assessment":
        """Read back what `to_dict` wrote."""
        given = _unbounded(plain, ("score", "confirmed_score"))
        given["rule"] = DecisionRule.from_dict(given["rule"])
        given["notes"] = tuple(given["notes"])
        given["results"] = tuple(_result_from_dict(r) for r in given["results"])
        return cls(**given)


def assess(
    limit_set: LimitSet, observations: Iterable[Observation], *, notes: Iterable[str] = ()
) -> Assessment:
    """Compare all observations with all criteria.

    Proposed findings count until they are rejected: an unreviewed photo must not make
    a part look better than it may be. `notes` are added to what must be known to read the
    result rightly.
    """
    seen = tuple(observations)
    results = _results(limit_set, seen)
    n_proposed = len({(o.photo, o.item) for o in seen if o.proposed})
    confirmed = results
    if n_proposed:
        confirmed = _results(limit_set, _without_proposed(seen))
    return Assessment(
        outcome=_outcome(results),
        score=_score(results),
        fully_assessed=all(r.complete for r in results),
        worst=_worst_id(results),
        n_proposed=n_proposed,
        confirmed_outcome=_outcome(confirmed),
        confirmed_score=_score(confirmed),
        title=limit_set.title,
        revision=limit_set.revision,
        source_document=limit_set.source_document,
        invented=limit_set.invented,
        rule=limit_set.decision,
        results=results,
        notes=(*_notes(limit_set, seen, n_proposed=n_proposed), *notes),
    )


def judge(
    criterion: Criterion, observations: Iterable[Observation], *, rule: DecisionRule
) -> CriterionResult:
    """Compare the observations with one criterion."""
    found = candidates(criterion, observations)
    if not found:
        why = f"Nothing was measured for it: {criterion.kind.needs}."
        nothing = NotMeasured(reason=why, unit=criterion.base_unit)
        found = (Candidate(value=nothing, item=""),)
    decided = sorted(
        ((c, _decide(criterion, c.value, rule)) for c in found), key=_rank, reverse=True
    )
    missing = [c.missing or _named(c) for c in found if c.missing or not _measured(c)]
    worst, decision = decided[0] if _measured(decided[0][0]) else _best_known(decided)
    outcome = decision.outcome
    if missing and outcome != "exceeded":
        outcome = "not_measured"
    return CriterionResult(
        id=criterion.id, text=criterion.text, quantity=criterion.quantity,
        statistic=criterion.statistic, scope=criterion.scope,
        direction=criterion.direction, inclusive=criterion.inclusive,
        limit=criterion.base_limit, unit=criterion.base_unit,
        limit_as_written=criterion.limit, unit_as_written=criterion.unit,
        outcome=outcome, complete=not missing, value=worst.value,
        usage=decision.usage, u_usage=decision.u_usage,
        probability_exceeding=decision.probability_exceeding,
        item=worst.item, layer=worst.layer,
        reason=" ".join(dict.fromkeys(missing)),
        items=tuple(_item(c, d) for c, d in decided),
    )  # fmt: skip


def _decide(criterion: Criterion, value: Quantity, rule: DecisionRule) -> Decision:
    return decide(
        value, criterion.base_limit, direction=criterion.direction,
        inclusive=criterion.inclusive, rule=rule,
    )  # fmt: skip


def _measured(candidate: Candidate) -> bool:
    return isinstance(candidate.value, Measured)


def _named(candidate: Candidate) -> str:
    assert isinstance(candidate.value, NotMeasured)
    reason = candidate.value.reason or "No reason given."
    return f"{candidate.item}: {reason}" if candidate.item else reason


def _rank(pair: tuple[Candidate, Decision]) -> tuple[int, float]:
    decision = pair[1]
    usage = -1.0 if decision.usage is None else decision.usage
    return SEVERITY[decision.outcome], usage


def _best_known(
    decided: Sequence[tuple[Candidate, Decision]],
) -> tuple[Candidate, Decision]:
    """Give the worst item that has a value, so that what is known stays in sight."""
    return next((pair for pair in decided if _measured(pair[0])), decided[0])


def _item(candidate: Candidate, decision: Decision) -> ItemResult:
    return ItemResult(
        item=candidate.item,
        layer=candidate.layer,
        value=candidate.value,
        outcome=decision.outcome,
        usage=decision.usage,
        reason=candidate.missing or decision.reason,
    )


def _results(limit_set: LimitSet, seen: Iterable[Observation]) -> tuple[CriterionResult, ...]:
    seen = tuple(seen)
    return tuple(judge(c, seen, rule=limit_set.decision) for c in limit_set.criteria)


def _without_proposed(seen: Iterable[Observation]) -> Iterable[Observation]:
    """Without proposed findings; a share that holds them becomes the one that does not."""
    for observation in seen:
        if observation.confirmed_value is not None:
            yield replace(observation, value=observation.confirmed_value)
        elif not observation.proposed:
            yield observation


def _outcome(results: Sequence[CriterionResult]) -> Outcome:
    outcomes = {r.outcome for r in results}
    if "exceeded" in outcomes:
        return "exceeded"
    if "not_measured" in outcomes:
        return "not_fully_assessed"
    return "borderline" if "borderline" in outcomes else "within"


def _score(results: Sequence[CriterionResult]) -> float | None:
    usages = [r.usage for r in results if r.usage is not None]
    return 100 * max(usages) if usages else None


def _worst_id(results: Sequence[CriterionResult]) -> str | None:
    known = [r for r in results if r.usage is not None]
    return max(known, key=lambda r: r.usage or 0.0).id if known else None


def _notes(
    limit_set: LimitSet, seen: Sequence[Observation], *, n_proposed: int
) -> tuple[str, ...]:
    photos = {o.photo for o in seen if o.photo is not None}
    statistics = {c.statistic for c in limit_set.criteria}
    notes = []
    if limit_set.invented:
        notes.append("The limits are invented: not for any real part.")
    if n_proposed:
        notes.append(
            "Not reviewed, counted until rejected: "
            f"{count_words(n_proposed, 'proposed finding')}."
        )
    if len(photos) > 1 and statistics & {"total", "count"}:
        notes.append(OVERLAP_NOTE)
    if len(photos) > 1 and "share" in statistics:
        notes.append(SHARE_NOTE)
    return tuple(notes)


def _fields(record: Any) -> dict[str, Any]:
    return {f.name: getattr(record, f.name) for f in fields(record)}


def _bounded(plain: dict[str, Any], names: Iterable[str]) -> dict[str, Any]:
    for name in names:
        unbounded = plain[name] == float("inf")
        plain[f"{name}_unbounded"] = unbounded
        plain[name] = None if unbounded else plain[name]
    return plain


def _unbounded(plain: Mapping[str, Any], names: Iterable[str]) -> dict[str, Any]:
    given = dict(plain)
    for name in names:
        if given.pop(f"{name}_unbounded", False):
            given[name] = float("inf")
    return given


def _result_to_dict(result: CriterionResult) -> dict[str, Any]:
    plain = _bounded(_fields(result), ("usage",))
    plain["value"] = result.value.to_dict()
    plain["items"] = [
        {**_bounded(_fields(i), ("usage",)), "value": i.value.to_dict()} for i in result.items
    ]
    return plain


def _result_from_dict(plain: Mapping[str, Any]) -> CriterionResult:
    given = _unbounded(plain, ("usage",))
    given["value"] = quantity_from_dict(given["value"])
    given["items"] = tuple(
        ItemResult(**{**_unbounded(i, ("usage",)), "value": quantity_from_dict(i["value"])})
        for i in given["items"]
    )
    return CriterionResult(**given)
