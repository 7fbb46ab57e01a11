"""Where the uncertainty of each finding comes from, line by line."""

import math
from collections.abc import Iterable, Iterator

from reportlab.platypus import Flowable

from damagescore.inspection.record import Inspection
from damagescore.quantity import (
    UNIT_SIGNS,
    Contribution,
    Length,
    Measured,
    Unit,
    in_length_unit,
    itemised,
)
from damagescore.report.look import grid, text
from damagescore.report.rows import Row, finding_rows
from damagescore.report.words import QUANTITIES, words_of


def budgets(inspection: Inspection, *, unit: Length) -> Iterator[Flowable]:
    """Table of the budgets of all findings that nobody rejected."""
    rows = [r for r in finding_rows(inspection) if r.state != "rejected"]
    lines = [line for row in rows for line in _lines(row, unit)]
    if not lines:
        return
    yield text("Uncertainty budgets", "heading")
    yield text(
        "Standard uncertainties (k = 1), the largest first; u is their root sum of squares. "
        "Lines that begin with \u201cscale\u201d are shared by all findings of a photo; those "
        "below a hundredth of u are summed up as smaller ones.",
        "note",
    )
    yield grid(("Finding", "Quantity", "u", "From"), lines, widths=(19, 13, 12, 56))


def _lines(row: Row, unit: Length) -> Iterator[tuple[str, ...]]:
    parts = scale_parts(row)
    for name, quantity in row.quantities.items():
        shown = in_length_unit(quantity, unit)
        if not isinstance(shown, Measured) or not shown.budget:
            continue
        yield (
            f"{row.id}, photo {row.photo_number}",
            words_of(name, QUANTITIES),
            _with_unit(shown.u, shown.unit),
            "; ".join(f"{c.source} {c.u:.2g}" for c in _readable(shown, parts)),
        )


def _readable(measured: Measured, parts: Iterable[Contribution]) -> list[Contribution]:
    """Lines that matter, and the rest as one."""
    lines = itemised(measured, parts)
    kept = [c for c in lines if c.u >= 0.01 * measured.u]
    rest = math.hypot(*(c.u for c in lines[len(kept) :]))
    return [*kept, Contribution(source="smaller ones", u=rest)] if rest > 0 else kept


def scale_parts(row: Row) -> tuple[Contribution, ...]:
    """Budget of the scale of the photo that a finding lies on; relative."""
    scale = None if row.photo is None else row.photo.measurement.get("scale")
    lines = (scale or {}).get("budget") or ()
    return tuple(Contribution(source=c["source"], u=c["u"]) for c in lines)


def _with_unit(u: float, unit: Unit) -> str:
    return f"{u:.2g} {UNIT_SIGNS[unit]}".strip()
