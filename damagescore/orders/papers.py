"""Papers of an order: a summary as PDF and CSV, and a report for each part."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer

from damagescore.errors import RecordError
from damagescore.orders.file_names import plain_name
from damagescore.orders.record import Order
from damagescore.orders.results import PartResult, ranked
from damagescore.quantity import Length, count_words
from damagescore.report import write_report
from damagescore.report.around_map import AroundFigure, seen_words
from damagescore.report.criteria import usage_text, value_text
from damagescore.report.look import grid, pairs, text
from damagescore.report.pages import PageFacts, build_pdf
from damagescore.report.tables import harmless
from damagescore.report.words import CAUTIONS, INVENTED, NOT_SIGNED, OUTCOMES, when
from damagescore.report.writer import SOFTWARE

PhotoLoader = Callable[[str], bytes]

COLUMNS = (
    "order", "customer_reference", "first", "part_number", "serial_number", "hours", "cycles",
    "result", "score", "worst_criterion", "criteria_not_judged", "findings_to_review",
    "photos", "photos_to_retake", "circumference_seen", "to_retake_because",
)  # fmt: skip

RANKING = (
    "Parts that need an inspector first stand first: by result, then by the largest usage of a "
    "limit, then by how much could not be judged. Nobody has decided on any part here."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPapers:
    """The files of an order; `parts` are the folders of its parts, first needed first."""

    pdf: Path
    csv: Path
    parts: tuple[Path, ...]


def write_order_papers(
    order: Order,
    results: Iterable[PartResult],
    loader: PhotoLoader,
    folder: Path,
    *,
    unit: Length = "mm",
) -> OrderPapers:
    """Write order.pdf, summary.csv, and for each part a folder with its report.

    Parameters
    ----------
    order : Order
    results : iterable of PartResult
    loader : callable
        Gives a photo's bytes by its SHA-256.
    folder : Path
        Made when missing; files of those names in it are replaced.
    unit : "mm" or "in"

    Raises
    ------
    RecordError
        When the folder cannot be written.
    """
    first = ranked(results)
    papers = OrderPapers(
        pdf=folder / "order.pdf", csv=folder / "summary.csv",
        parts=tuple(folder / part_folder(r) for r in first if r.inspection is not None),
    )  # fmt: skip
    for result in first:
        if result.inspection is not None:
            write_report(result.inspection, loader, folder / part_folder(result), unit=unit)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        papers.pdf.write_bytes(order_pdf(order, first, unit=unit))
        papers.csv.write_text(summary_csv(order, first), encoding="utf-8", newline="")
    except OSError as fault:
        raise RecordError(
            f"The summary cannot be written to {folder}: {fault.strerror or fault}.",
            remedy="Check the folder's permissions and free space.",
        ) from fault
    return papers


def part_folder(result: PartResult) -> str:
    """Name of a part's folder among the papers."""
    return plain_name(result.part.key).replace(".", "-")


def result_words(outcome: str) -> str:
    """Words for the result of a part."""
    own = {"no_photo": "NO USABLE PHOTO", "not_assessed": "NOT COMPARED WITH LIMITS"}
    return own[outcome] if outcome in own else OUTCOMES[outcome][0]


def score_words(result: PartResult) -> str:
    """Score as a whole number; empty for none."""
    score = result.score
    if score is None:
        return ""
    return "beyond all measure" if score == float("inf") else f"{score:.0f}"


def summary_csv(order: Order, results: Sequence[PartResult]) -> str:
    """Text of summary.csv: one line for each part, the first needed first.

    No cell can be run as a formula.
    """
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(COLUMNS)
    for number, result in enumerate(ranked(results), start=1):
        part = result.part.part
        cells: tuple[object, ...] = (
            order.number, order.customer_reference, number, part.part_number,
            part.serial_number, part.hours, part.cycles, result_words(result.outcome),
            score_words(result), result.worst, result.n_not_judged, result.n_to_review,
            len(order.photos_of(result.part)), len(result.to_retake), result.seen,
            "; ".join(f"{name}: {why}" for name, why in result.to_retake),
        )  # fmt: skip
        writer.writerow([harmless(c) for c in cells])
    for photo in order.to_assign:
        cells = (order.number, order.customer_reference, None, None, None, None, None,
                 "PHOTO TO BE ASSIGNED", None, None, None, None, 1, None, None,
                 f"{photo.name}: {photo.reason}")  # fmt: skip
        writer.writerow([harmless(c) for c in cells])
    return file.getvalue()


def order_pdf(order: Order, results: Sequence[PartResult], *, unit: Length = "mm") -> bytes:
    """Give the summary of an order as a PDF."""
    story = list(_story(order, ranked(results), unit=unit))
    invented = any(
        (r.inspection.limit_set or {}).get("invented") for r in results if r.inspection
    )
    facts = PageFacts(
        record_id=f"of order {order.number}", subject=f"Order {order.number}", mark=NOT_SIGNED,
        banner=INVENTED if invented else "", software=SOFTWARE,
        content_sha256="of each part: see its own report",
    )  # fmt: skip
    return build_pdf(story, facts)


def _story(order: Order, results: Sequence[PartResult], *, unit: Length) -> Iterator[Flowable]:
    yield text(f"Work order {order.number}", "title", most=120)
    yield text(
        f"Customer reference: {order.customer_reference or 'none given'}. Came in "
        f"{when(order.created_at)}.", "subtitle", most=400,
    )  # fmt: skip
    yield Spacer(1, 6)
    counts = [sum(r.outcome == o for r in results) for o in ("exceeded", "borderline")]
    yield pairs(
        [
            ("Parts", len(order.parts)),
            ("Photos", len(order.photos)),
            ("Limit exceeded", counts[0]),
            ("Borderline", counts[1]),
            ("To be assigned", count_words(len(order.to_assign), "photo")),
            ("To be retaken", count_words(sum(len(r.to_retake) for r in results), "photo")),
        ]
    )
    yield text("Which part needs an inspector first", "heading")
    yield text(f"{_limits(results)} {RANKING}", "note")
    yield Spacer(1, 3)
    yield grid(
        ("", "Part, serial", "Result", "Score", "Largest usage", "Not judged", "To review",
         "Retake", "Round edge seen"),
        [_cells(n, r) for n, r in enumerate(results, start=1)],
        widths=(4, 20, 20, 8, 22, 8, 8, 8, 11),
    )  # fmt: skip
    yield from _photos(order, results)
    for result in results:
        yield from _part(result, unit=unit)
    yield text("Cautions", "heading")
    for number, caution in enumerate(CAUTIONS, start=1):
        yield text(f"{number}. {caution}")


def _limits(results: Sequence[PartResult]) -> str:
    used = dict.fromkeys(
        f"{s['title']} {s['revision']}".strip()
        for r in results
        if r.inspection and (s := r.inspection.limit_set)
    )
    return f"Compared with: {'; '.join(used)}." if used else "Not compared with limits."


def _cells(number: int, result: PartResult) -> tuple[object, ...]:
    return (
        number, result.part.key, result_words(result.outcome), score_words(result),
        result.worst, result.n_not_judged or "", result.n_to_review or "",
        len(result.to_retake) or "", result.seen or "flat",
    )  # fmt: skip


def _photos(order: Order, results: Sequence[PartResult]) -> Iterator[Flowable]:
    yield text("Photos to take again", "heading")
    rows = [(r.part.key, name, why) for r in results for name, why in r.to_retake]
    if rows:
        yield grid(("Part", "Photo", "Why"), rows, widths=(18, 24, 58))
    else:
        yield text("None.")
    yield text("Photos to be assigned", "heading")
    if order.to_assign:
        waiting = [(p.name, p.reason) for p in order.to_assign]
        yield grid(("Photo", "Why it was not sorted to a part"), waiting, widths=(30, 70))
    else:
        yield text("None.")


def _part(result: PartResult, *, unit: Length) -> Iterator[Flowable]:
    heading = text(f"{result.part.key}: {result_words(result.outcome)}", "heading", most=200)
    inspection = result.inspection
    if inspection is None:
        yield KeepTogether([heading, text("No photo of it could be measured.")])
        return
    around = result.around
    if around is not None:
        figure = AroundFigure(around, size=48 * mm)
        yield KeepTogether([heading, text(seen_words(around)), figure])
    else:
        yield heading
    if result.assessment is None:
        yield text("It was not compared with limits.")
        return
    yield grid(
        ("Criterion", "Worst value", "Usage of the limit", "Result"),
        [
            (r.text, value_text(r.value, unit), usage_text(r),
             OUTCOMES[r.outcome][0].capitalize())
            for r in result.assessment.results
        ],
        widths=(38, 24, 24, 14),
    )  # fmt: skip
