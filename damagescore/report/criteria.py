"""The limits, and the result of each criterion with its usage bar."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

from reportlab.platypus import Flowable, Spacer

from damagescore.inspection import Inspection, assessment_of
from damagescore.limits import CriterionResult, LimitSet
from damagescore.quantity import (
    UNIT_SIGNS,
    Length,
    Measured,
    Quantity,
    format_quantity,
    in_length_unit,
)
from damagescore.report.figures import UsageBar
from damagescore.report.look import BODY_WIDTH, grid, text
from damagescore.report.words import INVENTED, NONE_FOUND, OUTCOMES

BAR_MEANING = (
    "Bar: the value; thin line with ends: 95 % interval; hatched: borderline zone; upright "
    "line: the limit."
)


def criteria_part(inspection: Inspection, *, unit: Length) -> Iterator[Flowable]:
    """Source of the limits, decision rule and a table of all criteria."""
    if inspection.limit_set is None:
        yield text("No limit set was chosen, so nothing was compared with a limit.")
        return
    limit_set = LimitSet.from_dict(inspection.limit_set)
    yield from _source(limit_set)
    assessment = assessment_of(inspection)
    if assessment is None:
        yield text("The findings were not compared with these limits.")
        return
    yield text(assessment.rule.text)
    yield Spacer(1, 3)
    guard = assessment.rule.guard_factor
    gaps = _gaps(assessment.results)
    yield grid(
        ("Criterion", "Worst value", "Limit", "Usage of the limit", "Outcome"),
        [_cells(result, guard=guard, gaps=gaps, unit=unit) for result in assessment.results],
        widths=(30, 19, 15, 24, 16),
    )
    for reason, number in gaps.items():
        yield text(f"Gap {number}: {reason}", "note")
    yield text(" ".join((BAR_MEANING, *assessment.notes)), "note")


def value_text(quantity: Quantity, unit: Length) -> str:
    """Value with its expanded uncertainty, or the reason why there is none."""
    if not isinstance(quantity, Measured):
        return f"not measured: {quantity.reason or 'no reason given'}"
    if quantity.unit == "1":
        return f"{quantity.value:g}"
    if quantity.value == 0 and quantity.u == 0:
        return f"0: {NONE_FOUND}"
    return format_quantity(quantity, unit=unit)


def outcome_text(result: CriterionResult) -> str:
    """Words for a criterion's outcome: what is known in part is not fully measured."""
    partly = isinstance(result.value, Measured) and result.outcome == "not_measured"
    return "Not fully measured" if partly else OUTCOMES[result.outcome][0].capitalize()


def limit_text(result: CriterionResult, unit: Length) -> str:
    """Limit as the document writes it, and in the unit shown where that differs."""
    sign = UNIT_SIGNS[result.unit_as_written]
    # No-break spaces keep a number and its unit on one line.
    written = f"{result.limit_as_written:g}\xa0{sign}".strip()
    shown = in_length_unit(Measured(value=result.limit, u=0.0, unit=result.unit), unit)
    if isinstance(shown, Measured) and shown.unit != result.unit_as_written:
        written += f" ({shown.value:.4g}\xa0{UNIT_SIGNS[shown.unit]})"
    sides = {
        ("max", False): "not above {}",
        ("max", True): "below {}",
        ("min", False): "not below {}",
        ("min", True): "above {}",
    }
    return sides[result.direction, result.inclusive].format(written)


def usage_text(result: CriterionResult) -> str:
    """Usage and the probability that the true value violates the limit."""
    if result.usage is None:
        return "none: no value"
    if math.isinf(result.usage):
        return "beyond all measure: no damage is allowed"
    shown = f"{100 * result.usage:.1f} %"
    if result.probability_exceeding is None:
        return shown
    return f"{shown}, probability of exceeding {_percent(result.probability_exceeding)}"


def _percent(probability: float) -> str:
    if probability < 0.001:
        return "below 0.1 %"
    return "above 99.9 %" if probability > 0.999 else f"{100 * probability:.1f} %"


def _source(limit_set: LimitSet) -> Iterator[Flowable]:
    yield text(f"Limit set: {limit_set.title}", most=300)
    yield text(
        f"Source document: {limit_set.source_document or 'not given'}; "
        f"revision: {limit_set.revision or 'not given'}; "
        f"effective: {limit_set.effective_date or 'not given'}",
        most=1000,
    )
    if limit_set.notes:
        yield text(f"Notes: {limit_set.notes}", "note")
    if limit_set.invented:
        yield text(f"{INVENTED}.")


def _gaps(results: Iterable[CriterionResult]) -> dict[str, int]:
    """Number the reasons for what is missing: several criteria often share one."""
    reasons = dict.fromkeys(r.reason for r in results if r.reason)
    return {reason: number for number, reason in enumerate(reasons, start=1)}


def _cells(
    result: CriterionResult, *, guard: float, gaps: Mapping[str, int], unit: Length
) -> Sequence[object]:
    known = isinstance(result.value, Measured)
    value = [text(value_text(result.value, unit) if known else "not measured", "cell")]
    if result.item and known:
        value.append(text(f"({result.item})", "note", most=120))
    outcome = [text(outcome_text(result), "cell")]
    if result.reason:
        outcome.append(text(f"not complete, see gap {gaps[result.reason]}", "note"))
    return (
        [text(result.text, "cell"), text(f"[{result.id}]", "note")],
        value,
        limit_text(result, unit),
        [*_bar(result, guard=guard), text(usage_text(result), "note")],
        outcome,
    )


def _bar(result: CriterionResult, *, guard: float) -> list[Flowable]:
    usage, u = result.usage, result.u_usage
    known = isinstance(result.value, Measured) and usage is not None and u is not None
    if not known or not math.isfinite(usage or 0.0) or result.limit <= 0:
        return []
    assert isinstance(result.value, Measured)
    zone = guard * result.value.u / result.limit
    return [UsageBar(usage or 0.0, u or 0.0, zone=zone, width=BODY_WIDTH * 0.22)]
