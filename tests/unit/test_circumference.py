"""Photos of a round edge before limits: damage once, and what was not seen said."""

import math
from dataclasses import replace

import pytest

from damagescore.damage.record import Finding
from damagescore.inspection import (
    Inspection,
    Part,
    add_photo,
    assess_inspection,
    assessment_of,
    confirm_finding,
    new_inspection,
)
from damagescore.limits import Assessment, Criterion
from damagescore.quantity import Measured
from tests.inspection_samples import BY, limits
from tests.round_samples import (
    RADIUS_MM,
    line,
    patch,
    place_px,
    round_measurement,
    round_options,
)

ALL_ROUND = (0.0, 2.4, 4.8, 7.2, 9.6)
"""Five photos of 90 degrees each, 72 degrees apart: all is seen."""

TOTAL = Criterion(
    id="sum", text="cracks over 30 mm together", quantity="crack_length", limit=30.0, unit="mm",
    statistic="total", scope="part",
)  # fmt: skip


def part(*photos: tuple[float, tuple[Finding, ...]]) -> Inspection:
    record = new_inspection(Part(part_number="HV-1418"), by=BY)
    for number, (hours, findings) in enumerate(photos):
        record = add_photo(
            record, sha256=f"{number:064x}", name=f"{number}.jpg",
            measurement=round_measurement(*findings), options=round_options(hours), by=BY,
        )  # fmt: skip
    return record


def assessed(record: Inspection, *criteria: Criterion) -> Assessment:
    found = assessment_of(assess_inspection(record, limits(*criteria)))
    assert found is not None
    return found


def all_round(*findings: tuple[int, Finding]) -> Inspection:
    return part(
        *((h, tuple(f for k, f in findings if k == i)) for i, h in enumerate(ALL_ROUND))
    )


def crack(photo: int, start: float, end: float) -> tuple[int, Finding]:
    return photo, line("crack-1", ALL_ROUND[photo] * 30, start, end)


def test_a_crack_on_two_photos_counts_once_in_a_total() -> None:
    once = assessed(all_round(crack(0, 30, 42), crack(1, 30, 42)), TOTAL)
    value = once.results[0].value
    assert isinstance(value, Measured)
    assert value.value == pytest.approx(math.radians(12) * RADIUS_MM, rel=0.01)  # one photo's
    assert once.outcome == "within"
    assert not any("counted twice" in note for note in once.notes)


def test_with_unseen_parts_nothing_short_of_an_exceeded_limit_is_decided() -> None:
    few = part((3.0, (line("crack-1", 90, 60, 110),)))
    partly = assessed(few, TOTAL)
    assert partly.outcome == "not_fully_assessed"
    assert "nothing can be said of the rest" in partly.results[0].reason
    much = part((3.0, (line("crack-1", 90, 60, 130),)))  # 70 degrees are 39 mm
    assert assessed(much, TOTAL).outcome == "exceeded"


def test_a_share_is_that_of_the_whole_turn() -> None:
    share = Criterion(
        id="share", text="cracks over 5 % of a layer", quantity="crack_length", limit=5.0,
        unit="%", statistic="share", scope="layer",
    )  # fmt: skip
    found = assessed(all_round(crack(0, 20, 38), crack(1, 38, 56)), share)
    value = found.results[0].value
    assert isinstance(value, Measured)
    assert value.value == pytest.approx(10.0, rel=0.01)  # 36 of 360 degrees; rounded pixels
    assert found.outcome == "exceeded"


def test_a_share_of_area_is_over_circumference_times_thickness() -> None:
    area = Criterion(
        id="area", text="crumbling over 50 % of a layer", quantity="crumbling_area", limit=50.0,
        unit="%", statistic="share", scope="layer",
    )  # fmt: skip
    record = all_round((0, patch("crumbling-1", 0, -18, 18)))
    value = assessed(record, area).results[0].value
    assert isinstance(value, Measured)
    # 36 of 360 degrees of a band 4 mm high; the sample says that its layers are 1 mm thick.
    assert value.value == pytest.approx(100 * 0.1 * 4.0 / 1.0, rel=0.01)  # rounded pixels


def test_confirming_either_photo_confirms_the_damage() -> None:
    record = all_round(crack(0, 30, 42), crack(1, 30, 42))
    assert assessed(record, TOTAL).n_proposed == 1
    sure = confirm_finding(record, f"{0:064x}", "crack-1", by=BY)
    assert assessed(sure, TOTAL).n_proposed == 0


def test_a_refused_photo_is_a_gap_and_not_a_veto() -> None:
    record = all_round(crack(0, -5, 5))
    record = add_photo(
        record, sha256="b" * 64, name="blurred.jpg", options=round_options(0.0),
        measurement=round_measurement(usable=False), by=BY,
    )  # fmt: skip
    assert assessed(record, TOTAL).outcome == "within"


def _with_unjudged(record: Inspection, reason: str) -> Inspection:
    """The first photo shows the middle 10 degrees of layer 0 not judged."""
    first = record.photos[0]
    layer = next(x for x in first.measurement["layers"] if x["index"] == 0)
    rows = [y for _, y in layer["polygon_px"]]
    top, bottom = min(rows), max(rows)
    left, right = sorted((place_px(-5), place_px(5)))
    part = {
        "layer": 0, "reason": reason,
        "polygon_px": [[left, top], [right, top], [right, bottom], [left, bottom]],
        "area": Measured(value=12.0, u=0.0, unit="mm2").to_dict(),
        "share_of_layer": Measured(value=10.0, u=0.0, unit="%").to_dict(),
    }  # fmt: skip
    plain = {**first.measurement, "unjudged": [part]}
    return replace(record, photos=(replace(first, measurement=plain), *record.photos[1:]))


def test_what_is_out_of_focus_on_a_round_edge_was_not_seen() -> None:
    blurred = assessed(_with_unjudged(all_round(), "out of focus"), TOTAL)
    assert blurred.outcome == "not_fully_assessed"
    assert assessed(_with_unjudged(all_round(), "glare"), TOTAL).outcome == "within"


def test_glare_on_a_round_edge_may_hide_crumbling() -> None:
    share = Criterion(
        id="share", text="more than 1 % of a layer", quantity="crumbling_area", limit=1.0,
        unit="%", statistic="share", scope="layer",
    )  # fmt: skip
    assert assessed(all_round(), share).outcome == "within"
    (result,) = assessed(_with_unjudged(all_round(), "glare"), share).results
    assert result.outcome == "borderline"
    hidden = next(x for x in result.items if x.layer == 0).value
    assert isinstance(hidden, Measured)
    # 12 mm2 or less: a rectangular distribution (GUM 4.3.7).
    assert hidden.u > 0
