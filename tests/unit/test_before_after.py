"""A part before and after repair: what can be said of a difference, and the papers of it."""

import csv
import io
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from damagescore.damage.record import Finding
from damagescore.errors import RecordError
from damagescore.inspection import Inspection, reject_finding
from damagescore.limits import quantity_kind
from damagescore.orders.before_after import (
    Change,
    changes,
    changes_csv,
    difference_of,
    photo_pairs,
    write_before_after,
)
from damagescore.quantity import Measured, NotMeasured, Quantity
from tests.inspection_samples import BY, SHA, inspected, line_finding, mm, patch_finding
from tests.ui.filled import photo_file

CRACKED = (line_finding("crack-1", (50, 250)), line_finding("crack-2", (40, 140), layer=2))
"""8 and 4 mm long."""


def change(before: Inspection, after: Inspection, name: str, of: str) -> Change:
    return next(c for c in changes(before, after) if (c.kind.name, c.of) == (name, of))


def test_a_repaired_crack_is_a_difference() -> None:
    found = change(inspected(*CRACKED), inspected(CRACKED[1]), "crack_length", "total")
    assert isinstance(found.difference, Measured)
    assert found.difference.value == pytest.approx(-8.0, abs=1e-9)  # sums of the same numbers
    assert found.reading == "less than before"


def test_the_same_part_twice_shows_no_difference() -> None:
    for row in changes(inspected(*CRACKED), inspected(*CRACKED)):
        assert row.reading == "no difference shown"


def test_a_difference_within_its_uncertainty_is_not_shown() -> None:
    # u of each length is 0.051 mm: 1.96 sqrt(2) u is 0.141 mm.
    near, far = (line_finding("crack-1", (50, x)) for x in (253.4, 253.7))  # 0.136, 0.148 mm
    start = inspected(line_finding("crack-1", (50, 250)))
    assert change(start, inspected(near), "crack_length", "total").reading == (
        "no difference shown"
    )
    assert change(start, inspected(far), "crack_length", "total").reading == "more than before"


def test_a_rejected_finding_is_no_damage() -> None:
    before = inspected(*CRACKED)
    after = reject_finding(before, SHA, "crack-1", by=BY, reason="A scratch.")
    assert change(before, after, "crack_length", "largest").reading == "less than before"


def test_what_was_not_measured_is_not_compared() -> None:
    row = change(inspected(*CRACKED), inspected(usable=False), "crack_length", "total")
    assert row.reading == "not comparable"
    assert isinstance(row.difference, NotMeasured)
    assert row.difference.reason.startswith("After: ")


values = st.floats(0, 100).map(lambda v: round(v, 3))


@given(values, values, st.floats(0, 5), st.floats(0, 5))
def test_a_difference_and_its_opposite_read_alike(
    one: float, other: float, u_one: float, u_other: float
) -> None:
    first, second = mm(one, u_one), mm(other, u_other)
    there, back = difference_of(first, second), difference_of(second, first)
    assert isinstance(there, Measured)
    assert isinstance(back, Measured)
    assert there.value == -back.value
    assert there.u == back.u
    assert there.u == pytest.approx(math.hypot(u_one, u_other), rel=1e-12)  # rounding of roots


def row_of(before: Quantity, after: Quantity) -> Change:
    return Change(
        kind=quantity_kind("crack_length"), of="total", before=before, after=after,
        difference=difference_of(before, after),
    )  # fmt: skip


def test_the_csv_holds_numbers_or_reasons() -> None:
    bad = NotMeasured(reason="=HYPERLINK(1)", unit="mm")
    text = changes_csv([row_of(mm(3, 0.1), mm(1, 0.1)), row_of(bad, mm(1, 0.1))])
    first, second = csv.DictReader(io.StringIO(text))
    assert (first["difference"], first["reading"]) == ("-2", "less than before") or (
        float(first["difference"]) == -2.0
    )
    assert second["difference"] == ""
    assert not second["not_measured_because"].startswith("=")


def test_photos_stand_beside_those_of_the_same_place() -> None:
    one, other = inspected(*CRACKED), inspected(*CRACKED)
    ((before, after),) = photo_pairs(one, other)
    assert (before, after) == (one.photos[0], other.photos[0])


def test_the_papers_say_it_in_words(tmp_path: Path) -> None:
    before: tuple[Finding, ...] = (*CRACKED, patch_finding("crumbling-1", area=4.0))
    pdf, table = write_before_after(
        inspected(*before), inspected(CRACKED[1]), lambda _key: photo_file(), tmp_path
    )
    words = " ".join(p.extract_text() for p in PdfReader(pdf).pages)
    for said in ("Before and after repair", "less than before", "no difference shown",
                 "NOT SIGNED", "8.00", "approved maintenance data"):  # fmt: skip
        assert said in words
    assert table.read_text(encoding="utf-8").startswith("quantity,")


def test_a_photo_that_is_gone_leaves_the_table(tmp_path: Path) -> None:
    def gone(_key: str) -> bytes:
        raise RecordError("It is not in the vault.")

    pdf, _ = write_before_after(inspected(*CRACKED), inspected(), gone, tmp_path)
    assert "It is not in the vault." in PdfReader(pdf).pages[0].extract_text()
