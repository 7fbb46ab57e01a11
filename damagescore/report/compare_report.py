"""The comparison of parts on test as a PDF, as JSON and as CSV."""

import csv
import hashlib
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Spacer

from damagescore.chart.endurance import damage_chart, lives_chart
from damagescore.endurance.compare import Comparison, CriterionComparison
from damagescore.endurance.record import ENDING_WORDS
from damagescore.endurance.words import group_words, life_words, pair_words
from damagescore.quantity import Length
from damagescore.report.chart_figure import ChartFigure
from damagescore.report.followed import SidePhoto, side_by_side
from damagescore.report.history_report import SOFTWARE
from damagescore.report.look import BODY_WIDTH, grid, text
from damagescore.report.pages import PageFacts, build_pdf
from damagescore.report.tables import harmless
from damagescore.report.words import EXPANDED, INVENTED

SCHEMA = "damagescore/comparison/1"

CAUTIONS = (
    "The approved maintenance data govern. A test on a stand is no approval of a part.",
    "That all parts ran on the same loads, temperatures and positions is the user's word.",
    "A photo shows neither the depth of a crack nor hidden loss of bond.",
    "Where no difference is shown, none is proved either: more parts may show one.",
)

COLUMNS = (
    "criterion", "part", "group", "ending", "last_hours", "reached", "not_before_hours",
    "by_hours", "estimate_hours",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRow:
    """Photos of all parts at about the same hours."""

    hours: float
    photos: tuple[SidePhoto, ...]


def comparison_pdf(
    comparison: Comparison, *, rows: Sequence[PhotoRow] = (), unit: Length = "mm"
) -> bytes:
    """Give the PDF; the same comparison and photos give the same bytes."""
    invented = any(c.invented for c in comparison.criteria)
    facts = PageFacts(
        record_id=comparison.title, subject=f"{len(comparison.parts)} parts on test",
        mark="NO RELEASE: comparison only", banner=INVENTED if invented else "",
        software=SOFTWARE, document="Endurance comparison",
        content_sha256=hashlib.sha256(comparison_json(comparison).encode()).hexdigest(),
    )  # fmt: skip
    return build_pdf(list(_story(comparison, rows, unit)), facts)


def comparison_json(comparison: Comparison) -> str:
    """Text of compare.json: lives, ratios and the values behind them, in mm, k = 1."""
    plain = {
        "schema": SCHEMA,
        "software": SOFTWARE,
        "cautions": list(CAUTIONS),
        "title": comparison.title,
        "spectrum": comparison.spectrum,
        "parts": [
            {
                "name": p.name, "group": p.group, "ending": p.ending,
                "series": [
                    {"id": s.id, "label": s.label, "unit": s.unit, "limit": s.limit,
                     "points": [{"hours": x.use, **x.value.to_dict(with_budget=False)}
                                for x in s.points]}
                    for s in p.series
                ],
            }
            for p in comparison.parts
        ],
        "criteria": [_criterion(c) for c in comparison.criteria],
    }  # fmt: skip
    return json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def comparison_csv(comparison: Comparison) -> str:
    """Text of compare.csv: one line for each part and criterion."""
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(COLUMNS)
    for criterion in comparison.criteria:
        for item in criterion.lives:
            life = item.life
            cells = (
                criterion.id, item.part.name, item.part.group, item.part.ending,
                item.part.last_hours, "yes" if life.reached else "no", life.low, life.high,
                None if item.estimate is None else round(item.estimate, 1),
            )  # fmt: skip
            writer.writerow([harmless(c) for c in cells])
    return file.getvalue()


def _criterion(found: CriterionComparison) -> Mapping[str, Any]:
    return {
        "id": found.id, "label": found.label, "text": found.text, "invented": found.invented,
        "lives": [
            {"part": x.part.name, "not_before": x.life.low, "by": x.life.high,
             "estimate": x.estimate}
            for x in found.lives
        ],
        "groups": [
            {"first": g.first, "second": g.second, **asdict(g.ratio), "said": group_words(g)}
            for g in found.groups
        ],
        "pairs": [{**asdict(p), "said": pair_words(p)} for p in found.pairs],
    }  # fmt: skip


def _story(
    comparison: Comparison, rows: Sequence[PhotoRow], unit: Length
) -> Iterator[Flowable]:
    yield text(comparison.title or "Endurance comparison", "title", most=200)
    if comparison.spectrum:
        yield text(f"Load spectrum: {comparison.spectrum}", "subtitle", most=400)
    yield Spacer(1, 6)
    yield grid(
        ("Part", "Group", "Ending", "Last hours"),
        [(p.name, p.group, ENDING_WORDS[p.ending], f"{p.last_hours:.0f}")
         for p in comparison.parts],
        widths=(34, 34, 20, 14),
    )  # fmt: skip
    yield text(EXPANDED, "note")
    yield text("Cautions", "heading")
    for number, caution in enumerate(CAUTIONS, start=1):
        yield text(f"{number}. {caution}")
    for row in rows:
        for start in range(0, len(row.photos), 2):
            yield KeepTogether(
                [
                    text(f"At about {row.hours:.0f} h", "heading"),
                    side_by_side(row.photos[start : start + 2], unit=unit),
                ]
            )
    shown, empty = _told_apart(comparison)
    for criterion in shown:
        yield from _of_criterion(comparison, criterion, unit)
    if empty:
        names = "; ".join(c.label.lower() for c in empty)
        yield text("Not seen in any part", "heading")
        yield text(f"Looked for and not found, or not measured: {names}.")
    yield from _others(comparison, unit)


def _told_apart(
    comparison: Comparison,
) -> tuple[list[CriterionComparison], list[CriterionComparison]]:
    """Criteria of which some part shows something, and the others."""
    shown: list[CriterionComparison] = []
    empty: list[CriterionComparison] = []
    for criterion in comparison.criteria:
        series = [p.series_named(criterion.id) for p in comparison.parts]
        seen = any(s is not None and s.shows_anything for s in series)
        (shown if seen else empty).append(criterion)
    return shown, empty


def _of_criterion(
    comparison: Comparison, criterion: CriterionComparison, unit: Length
) -> Iterator[Flowable]:
    width = 0.74 * BODY_WIDTH
    yield KeepTogether(
        [
            text(criterion.label, "heading"),
            *([text(criterion.text, "note")] if criterion.text else []),
            ChartFigure(damage_chart(comparison.parts, criterion.id, unit=unit), width=width),
        ]
    )
    yield ChartFigure(lives_chart(criterion), width=width)
    yield grid(
        ("Part", "Criterion", "By lines between inspections"),
        [
            (x.part.name, life_words(x.life),
             "" if x.estimate is None else f"{x.estimate:.0f} h")
            for x in criterion.lives
        ],
        widths=(30, 42, 28),
    )  # fmt: skip
    for group in criterion.groups:
        yield text(group_words(group))
    for pair in criterion.pairs:
        yield text(pair_words(pair))


def _others(comparison: Comparison, unit: Length) -> Iterator[Flowable]:
    """Readings that have no criterion: temperature, stiffness without a limit."""
    done = {c.id for c in comparison.criteria}
    names = dict.fromkeys(s.id for p in comparison.parts for s in p.series if s.id not in done)
    for name in names:
        having = [p for p in comparison.parts if (s := p.series_named(name)) and s.measured]
        if having:
            chart = damage_chart(having, name, unit=unit)
            yield KeepTogether(
                [text(chart.title, "heading"), ChartFigure(chart, width=0.74 * BODY_WIDTH)]
            )
