"""Rubber that could not be judged never counts as sound before a limit."""

from dataclasses import replace
from typing import Any

import pytest

from damagescore.damage.record import Finding
from damagescore.inspection import (
    Inspection,
    assess_inspection,
    assessment_of,
    confirm_finding,
    observations_of,
)
from damagescore.limits import Criterion, CriterionResult
from damagescore.quantity import Measured, NotMeasured
from tests.inspection_samples import BY, SHA, inspected, limits, line_finding, patch_finding

# The sample photo: rubber layers 0, 2 and 4 over x = 0 to 399 px at 0.04 mm a pixel.
MM_PER_PX = 0.04
ROWS = {0: (200.0, 280.0), 2: (100.0, 180.0), 4: (20.0, 80.0)}

FACE = [
    ("crack_length", "largest", "mm"), ("crack_length", "total", "mm"),
    ("crack_length", "count", "1"), ("crack_length", "share", "%"),
    ("crack_width", "largest", "mm"), ("bond_gap_length", "largest", "mm"),
    ("bond_gap_length", "total", "mm"), ("bond_gap_length", "share", "%"),
    ("crumbling_area", "largest", "mm2"), ("crumbling_area", "total", "mm2"),
    ("crumbling_area", "count", "1"), ("crumbling_area", "share", "%"),
]  # fmt: skip


def part(layer: int, reason: str, *, x: tuple[float, float] = (0.0, 399.0)) -> dict[str, Any]:
    top, bottom = ROWS[layer]
    area = (x[1] - x[0]) * (bottom - top) * MM_PER_PX**2
    return {
        "layer": layer, "reason": reason,
        "polygon_px": [[x[0], top], [x[1], top], [x[1], bottom], [x[0], bottom]],
        "area": Measured(value=area, u=0.0, unit="mm2").to_dict(),
        "share_of_layer": Measured(value=100 * (x[1] - x[0]) / 399, u=0.0, unit="%").to_dict(),
    }  # fmt: skip


def seen_in_part(*parts: dict[str, Any], findings: tuple[Finding, ...] = ()) -> Inspection:
    """An inspection whose photo has unjudged parts; without totals, as old records are."""
    inspection = inspected(*findings)
    (entry,) = inspection.photos
    plain = {**entry.measurement, "unjudged": list(parts), "totals": {}}
    return replace(inspection, photos=(replace(entry, measurement=plain),))


def result(inspection: Inspection, criterion: Criterion) -> CriterionResult:
    found = assessment_of(assess_inspection(inspection, limits(criterion)))
    assert found is not None
    return found.results[0]


def criterion(quantity: str, statistic: str, unit: str, *, limit: float = 2.0) -> Criterion:
    return Criterion(
        id="one", text="one", quantity=quantity, statistic=statistic, limit=limit, unit=unit,
        scope="part" if statistic in ("total", "count", "share") else "finding",
    )  # fmt: skip


@pytest.mark.parametrize(("quantity", "statistic", "unit"), FACE)
def test_a_photo_all_out_of_focus_is_within_no_limit(
    quantity: str, statistic: str, unit: str
) -> None:
    blurred = seen_in_part(*(part(layer, "out of focus") for layer in ROWS))
    asked = criterion(quantity, statistic, unit)
    assert result(blurred, asked).outcome != "within"
    assert result(seen_in_part(), asked).outcome == "within"


@pytest.mark.parametrize(("quantity", "statistic", "unit"), FACE)
def test_darkness_hides_crumbling_and_no_crack(
    quantity: str, statistic: str, unit: str
) -> None:
    dark = seen_in_part(*(part(layer, "too dark") for layer in ROWS))
    within = result(dark, criterion(quantity, statistic, unit)).outcome == "within"
    assert within == (quantity != "crumbling_area")


@pytest.mark.parametrize("quantity", ["crack_length", "bond_gap_length", "crumbling_area"])
def test_the_share_of_a_layer_that_is_out_of_focus_is_not_measured(quantity: str) -> None:
    shares = {
        o.layer: o.value
        for o in observations_of(seen_in_part(part(2, "out of focus")))
        if o.quantity == quantity and o.aspect == "layer_share"
    }
    lost = shares[2]
    assert isinstance(lost, NotMeasured)
    assert lost.reason.endswith("of the rubber could not be judged.")
    for layer in (0, 4):
        assert shares[layer] == Measured(value=0.0, u=0.0, unit="%")


def test_a_share_may_be_larger_by_what_was_not_judged() -> None:
    """A rectangular distribution: half its width over the root of three (GUM 4.3.7)."""
    (share,) = (
        o.value
        for o in observations_of(seen_in_part(part(2, "out of focus", x=(0.0, 39.9))))
        if (o.quantity, o.aspect, o.layer) == ("crack_length", "layer_share", 2)
    )
    assert isinstance(share, Measured)
    assert (share.value, share.u) == (0.0, pytest.approx(10.0 / 3**0.5, rel=0.01))


def test_beside_a_confirmed_crack_a_longer_one_may_be_hidden() -> None:
    crack = line_finding("crack-1", (0, 50), y=240.0, layer=0)  # 2 mm
    asked = criterion("crack_length", "largest", "mm", limit=5.0)
    clear = confirm_finding(seen_in_part(findings=(crack,)), SHA, "crack-1", by=BY)
    assert result(clear, asked).outcome == "within"
    half = part(2, "out of focus", x=(0.0, 200.0))  # 8 mm
    hidden = confirm_finding(seen_in_part(half, findings=(crack,)), SHA, "crack-1", by=BY)
    assert result(hidden, asked).outcome == "borderline"


def test_a_total_of_what_was_found_says_what_may_be_missing() -> None:
    patch = patch_finding("crumbling-1", area=4.0)
    dark = part(4, "too dark", x=(0.0, 100.0))  # 9.6 mm2
    total = criterion("crumbling_area", "total", "mm2", limit=8.0)
    assert result(seen_in_part(findings=(patch,)), total).outcome == "within"
    found = result(seen_in_part(dark, findings=(patch,)), total)
    assert found.outcome == "borderline"
    assert isinstance(found.value, Measured)
    assert found.value.u == pytest.approx(9.6 / 3**0.5, rel=0.02)


def test_a_count_is_not_measured_where_more_may_be_hidden() -> None:
    asked = criterion("crumbling_area", "count", "1")
    speck = part(4, "too dark", x=(0.0, 5.0))  # 0.5 mm2: hides no patch that is proposed
    assert result(seen_in_part(speck), asked).outcome == "within"
    found = result(seen_in_part(part(4, "too dark", x=(0.0, 50.0))), asked)
    assert found.outcome == "not_measured"
    assert "a part of the rubber could not be judged." in found.reason
