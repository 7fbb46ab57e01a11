"""A part before and after repair: differences with their uncertainty, photos side by side."""

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import Any, Literal

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table, TableStyle

from damagescore.errors import DamageScoreError, RecordError
from damagescore.inspection import observations_of
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.limits import Observation, QuantityKind, quantities
from damagescore.photo import read_photo
from damagescore.quantity import (
    COVERAGE_FACTOR_95,
    Contribution,
    Length,
    Measured,
    NotMeasured,
    Quantity,
    from_budget,
    total,
)
from damagescore.report.criteria import value_text
from damagescore.report.figures import PhotoFigure
from damagescore.report.look import BODY_WIDTH, grid, text
from damagescore.report.pages import PageFacts, build_pdf
from damagescore.report.rows import states_of
from damagescore.report.tables import harmless
from damagescore.report.words import CAUTIONS, EXPANDED, NOT_SIGNED
from damagescore.report.writer import SOFTWARE

Statistic = Literal["total", "largest"]
Loader = Callable[[str], bytes]

COLUMNS = (
    "quantity", "of", "before", "u_before_k1", "after", "u_after_k1", "difference",
    "u_difference_k1", "unit", "reading", "not_measured_because",
)  # fmt: skip

MEANING = (
    "Difference: after less before. Both photos have scales of their own, so that their "
    "uncertainties are independent and add as root sum of squares. A difference smaller than "
    "its expanded uncertainty (k = 1.96) is not shown to be one. Damage that no photo shows, "
    "or that the search missed, is in neither."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One quantity before and after.

    `of` is "total" or "largest"; `difference` is after less before, `NotMeasured` where
    either is.
    """

    kind: QuantityKind
    of: Statistic
    before: Quantity
    after: Quantity
    difference: Quantity

    @property
    def shown(self) -> bool:
        """Whether a difference is shown: it is larger than its expanded uncertainty."""
        difference = self.difference
        return (
            isinstance(difference, Measured)
            and abs(difference.value) > COVERAGE_FACTOR_95 * difference.u
        )

    @property
    def reading(self) -> str:
        """What can be said of it, in plain words."""
        if not isinstance(self.difference, Measured):
            return "not comparable"
        if not self.shown:
            return "no difference shown"
        return "less than before" if self.difference.value < 0 else "more than before"


def changes(before: Inspection, after: Inspection) -> tuple[Change, ...]:
    """Compare all quantities that either side shows, rejected findings left out."""
    first, second = observations_of(before), observations_of(after)
    found = []
    for kind in quantities():
        ways: tuple[Statistic, ...] = (
            ("total", "largest") if "total" in kind.statistics else ("largest",)
        )
        mine, theirs = _items(first, kind), _items(second, kind)
        if not mine and not theirs:
            continue
        for way in ways:
            values = [_value(items, kind, way) for items in (mine, theirs)]
            found.append(
                Change(
                    kind=kind, of=way, before=values[0], after=values[1],
                    difference=difference_of(*values),
                )
            )  # fmt: skip
    return tuple(found)


def difference_of(before: Quantity, after: Quantity) -> Quantity:
    """After less before; the two are independent (GUM, JCGM 100:2008, 5.1.2)."""
    for side, value in (("Before", before), ("After", after)):
        if isinstance(value, NotMeasured):
            return NotMeasured(reason=f"{side}: {value.reason}", unit=value.unit)
    assert isinstance(before, Measured)
    assert isinstance(after, Measured)
    lines = (
        Contribution(source="before", u=before.u), Contribution(source="after", u=after.u),
    )  # fmt: skip
    return from_budget(after.value - before.value, lines, unit=before.unit)


def write_before_after(
    before: Inspection,
    after: Inspection,
    loader: Loader,
    folder: Path,
    *,
    unit: Length = "mm",
) -> tuple[Path, Path]:
    """Write before_after.pdf and before_after.csv.

    Raises
    ------
    RecordError
        When the folder cannot be written.
    """
    rows = changes(before, after)
    pdf, table = folder / "before_after.pdf", folder / "before_after.csv"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        pdf.write_bytes(before_after_pdf(before, after, loader, unit=unit))
        table.write_text(changes_csv(rows), encoding="utf-8", newline="")
    except OSError as fault:
        raise RecordError(
            f"The comparison cannot be written to {folder}: {fault.strerror or fault}.",
            remedy="Check the folder's permissions and free space.",
        ) from fault
    return pdf, table


def before_after_pdf(
    before: Inspection, after: Inspection, loader: Loader, *, unit: Length = "mm"
) -> bytes:
    """Give the comparison as a PDF."""
    part = after.part
    subject = (
        f"Part {part.part_number or 'number not given'}, "
        f"serial {part.serial_number or 'number not given'}"
    )
    facts = PageFacts(
        record_id=f"{before.id[:8]} and {after.id[:8]}", subject=subject, mark=NOT_SIGNED,
        banner="", software=SOFTWARE, content_sha256="of each record: see its own report",
    )  # fmt: skip
    story = list(_story(before, after, loader, subject=subject, unit=unit))
    return build_pdf(story, facts)


def changes_csv(rows: Sequence[Change]) -> str:
    """Text of the comparison as CSV, in mm and mm2; no cell can be run as a formula."""
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(COLUMNS)
    for row in rows:
        sides = (row.before, row.after, row.difference)
        numbers = [
            x for q in sides
            for x in ((q.value, q.u) if isinstance(q, Measured) else (None, None))
        ]  # fmt: skip
        why = "" if isinstance(row.difference, Measured) else row.difference.reason
        cells = (row.kind.label, row.of, *numbers, row.kind.unit, row.reading, why)
        writer.writerow([harmless(c) for c in cells])
    return file.getvalue()


def _items(seen: Sequence[Observation], kind: QuantityKind) -> list[Observation]:
    return [o for o in seen if o.quantity == kind.name and o.aspect == "item"]


def _value(items: Sequence[Observation], kind: QuantityKind, way: Statistic) -> Quantity:
    if not items:
        return NotMeasured(reason=f"There is none: {kind.needs}.", unit=kind.unit)
    missing = [o.value for o in items if isinstance(o.value, NotMeasured)]
    if missing:
        return NotMeasured(reason=missing[0].reason, unit=kind.unit)
    known = [o.value for o in items if isinstance(o.value, Measured)]
    if way == "total":
        # What was not judged makes "none found" less sure.
        return total([v for v in known if v.value or v.u], unit=kind.unit)
    return max(known, key=lambda v: (v.value, v.u))


def _story(
    before: Inspection, after: Inspection, loader: Loader, *, subject: str, unit: Length
) -> Iterator[Flowable]:
    yield text("Before and after repair", "title")
    yield text(subject, "subtitle", most=200)
    yield text("Differences", "heading")
    yield text(MEANING, "note")
    yield text(EXPANDED, "note")
    yield Spacer(1, 3)
    rows = changes(before, after)
    yield grid(
        ("Quantity", "Before", "After", "Difference", "Reading"),
        [_cells(row, unit) for row in rows],
        widths=(24, 22, 22, 18, 18),
    )
    yield text("Photos side by side", "heading")
    for one, other in photo_pairs(before, after):
        yield _pair(one, other, loader, unit=unit)
    yield text("Cautions", "heading")
    for number, caution in enumerate(CAUTIONS, start=1):
        yield text(f"{number}. {caution}")


def _cells(row: Change, unit: Length) -> tuple[object, ...]:
    return (
        f"{row.kind.label}, {row.of}", value_text(row.before, unit),
        value_text(row.after, unit), signed_text(row, unit), row.reading,
    )  # fmt: skip


def signed_text(row: Change, unit: Length) -> str:
    """Give the difference with its sign and expanded uncertainty; empty where there is none."""
    if not isinstance(row.difference, Measured):
        return ""
    if row.difference.value == 0 and row.difference.u == 0:
        return "0"
    shown = value_text(row.difference, unit)
    return f"+{shown}" if row.difference.value > 0 else shown.replace("-", "\N{MINUS SIGN}", 1)


def photo_pairs(
    before: Inspection, after: Inspection
) -> Iterator[tuple[PhotoEntry | None, PhotoEntry | None]]:
    """Photos of the same view and clock position beside each other, else in their order."""
    places = dict.fromkeys(_place(p) for p in (*before.photos, *after.photos))
    for place in places:
        mine = [p for p in before.photos if _place(p) == place]
        theirs = [p for p in after.photos if _place(p) == place]
        yield from zip_longest(mine, theirs)


def _place(entry: PhotoEntry) -> tuple[str, Any]:
    return entry.view, entry.options.get("clock_hours")


def _pair(
    one: PhotoEntry | None, other: PhotoEntry | None, loader: Loader, *, unit: Length
) -> Flowable:
    cells = [_photo(one, loader, unit=unit), _photo(other, loader, unit=unit)]
    heads = [
        text(f"{side}: {entry.name if entry else 'no such photo'}", "head", most=120)
        for side, entry in (("Before", one), ("After", other))
    ]
    table = Table([heads, cells], colWidths=[BODY_WIDTH / 2] * 2)
    table.setStyle(
        TableStyle([
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ("RIGHTPADDING", (0, 0), (-1, -1), 2),
        ])
    )  # fmt: skip
    return table


def _photo(entry: PhotoEntry | None, loader: Loader, *, unit: Length) -> Flowable:
    if entry is None:
        return text("")
    try:
        photo = read_photo(loader(entry.sha256), name=entry.name)
    except DamageScoreError as fault:
        # The table of differences still has to be readable; the fault stands beside it.
        return text(f"The photo cannot be shown. {fault}", most=600)
    return PhotoFigure(
        photo.rgb, entry.measurement, states=states_of(entry), unit=unit,
        box=(BODY_WIDTH / 2 - 6, 75 * mm),
    )  # fmt: skip
