"""What photos say to limits: shares, zeros, refused photos, proposals."""

import math

import pytest

from damagescore.damage.record import Finding
from damagescore.inspection import (
    Inspection,
    add_photo,
    assess_inspection,
    assessment_of,
    confirm_finding,
    observations_of,
    reject_finding,
)
from damagescore.limits import Aspect, Criterion, CriterionResult, Observation
from damagescore.quantity import Measured, NotMeasured
from tests.inspection_samples import (
    BY,
    SHA,
    budgeted,
    bulge_finding,
    inspected,
    limits,
    line_finding,
    measurement,
    mm,
    patch_finding,
)

# The sample photo has rubber layers 0, 2 and 4, each over x = 0 to 399 px (15.96 mm):
# rows 280-200, 180-100 and 80-20, with shims between.
VISIBLE_PX = 399.0


def _seen(
    record: Inspection, quantity: str, aspect: Aspect = "item", layer: int | None = None
) -> list[Observation]:
    return [
        o for o in observations_of(record)
        if (o.quantity, o.aspect) == (quantity, aspect) and (layer is None or o.layer == layer)
    ]  # fmt: skip


def _share(record: Inspection, quantity: str, *, layer: int | None = None) -> Measured:
    aspect: Aspect = "part_share" if layer is None else "layer_share"
    (one,) = _seen(record, quantity, aspect, layer)
    assert isinstance(one.value, Measured)
    return one.value


def _result(record: Inspection, criterion: Criterion) -> CriterionResult:
    found = assessment_of(assess_inspection(record, limits(criterion)))
    assert found is not None
    return found.results[0]


def test_a_sound_photo_gives_zeros_for_all_that_its_view_shows() -> None:
    found = observations_of(inspected())
    assert {o.quantity for o in found} == {
        "crack_length", "crack_width", "bond_gap_length", "crumbling_area",
    }  # fmt: skip
    assert all(isinstance(o.value, Measured) and o.value.value == 0 for o in found)
    assert not any(o.finding or o.proposed for o in found)
    profile = observations_of(inspected(view="profile"))
    assert {o.quantity for o in profile} == {"bulge_peak", "bulge_over_thickness", "recess"}


def test_a_refused_photo_gives_no_number() -> None:
    found = observations_of(inspected(line_finding("crack-1", (0, 50)), usable=False))
    assert len(found) == 4 + 2 * 3  # one each, and both shares of three quantities
    for one in found:
        assert isinstance(one.value, NotMeasured)
        assert "Too blurred." in one.value.reason
    result = _result(inspected(usable=False), limits().criteria[0])
    assert (result.outcome, result.usage) == ("not_measured", None)


def test_a_refused_photo_beside_a_good_one_leaves_the_part_open() -> None:
    record = add_photo(
        inspected(line_finding("crack-1", (0, 50))), sha256="b" * 64, name="b.jpg",
        measurement=measurement(usable=False),
    )  # fmt: skip
    result = _result(record, limits().criteria[0])
    assert (result.outcome, result.complete) == ("not_measured", False)
    assert "photo 2: The photo cannot be judged. Too blurred." in result.reason
    assert result.usage == pytest.approx(2.0 / 5.0, rel=1e-12)  # 50 px of 0.04 mm


def test_rejected_findings_are_left_out() -> None:
    record = inspected(line_finding("crack-1", (0, 50)), line_finding("crack-2", (100, 350)))
    record = reject_finding(record, SHA, "crack-2", by=BY, reason="dust")
    items = [o.item for o in _seen(record, "crack_length") if o.finding]
    assert items == ["crack-1, photo 1"]
    assert _share(record, "crack_length").value == pytest.approx(
        100 * 50 / (3 * VISIBLE_PX), rel=1e-9  # the same arithmetic
    )  # fmt: skip
    both = reject_finding(record, SHA, "crack-1", by=BY, reason="dust")
    (zero,) = _seen(both, "crack_length")
    assert zero.value == mm(0.0)


def test_crack_share_of_a_layer_and_of_the_face() -> None:
    record = inspected(
        line_finding("crack-1", (0, 100)),
        line_finding("crack-2", (50, 150), y=230.0),  # overlaps: together 0 to 150
        line_finding("crack-3", (0, 40), y=140.0, layer=2),
    )
    # 1e-9: the same arithmetic up to the map to millimetres and back.
    assert _share(record, "crack_length", layer=0).value == pytest.approx(
        100 * 150 / VISIBLE_PX, rel=1e-9
    )
    assert _share(record, "crack_length", layer=2).value == pytest.approx(
        100 * 40 / VISIBLE_PX, rel=1e-9
    )
    assert _share(record, "crack_length", layer=4) == Measured(value=0.0, u=0.0, unit="%")
    whole = _share(record, "crack_length")
    assert whole.value == pytest.approx(100 * 190 / (3 * VISIBLE_PX), rel=1e-9)
    # Each tip of 0.05 mm, over 47.88 mm; the scale cancels.
    assert whole.u == pytest.approx(
        100 * math.sqrt(3) * 0.05 / (3 * VISIBLE_PX * 0.04), rel=1e-9
    )


def test_bond_gap_share_is_of_the_visible_bond_lines() -> None:
    record = inspected(
        # Layer 2 has two bond lines: rows 180 (lower) and 100 (upper).
        line_finding("gap-1", (0, 100), y=178.0, layer=2, kind="bond_gap"),
        line_finding("gap-2", (50, 150), y=177.0, layer=2, kind="bond_gap"),  # the same line
        line_finding("gap-3", (0, 100), y=103.0, layer=2, kind="bond_gap"),  # the other one
    )
    assert _share(record, "bond_gap_length", layer=2).value == pytest.approx(
        100 * 250 / (2 * VISIBLE_PX), rel=1e-9  # the same arithmetic
    )  # fmt: skip
    # Layers 0 and 4 end the stack: one bond line each, so four in all.
    assert _share(record, "bond_gap_length").value == pytest.approx(
        100 * 250 / (4 * VISIBLE_PX), rel=1e-9
    )
    assert _share(record, "bond_gap_length", layer=0).value == 0.0
    assert _share(record, "bond_gap_length").u == pytest.approx(
        100 * math.sqrt(3) * 0.05 / (4 * VISIBLE_PX * 0.04), rel=1e-9
    )


def test_crumbling_share_is_of_the_visible_rubber() -> None:
    record = inspected(patch_finding("crumbling-1", area=4.0), patch_finding("c-2", area=2.0))
    # Layer 2: 80 rows of 400 columns, 0.0016 mm² each. One row or column of the filled
    # border more or less: 1/80.
    layer = _share(record, "crumbling_area", layer=2)
    assert layer.value == pytest.approx(100 * 6.0 / (80 * 400 * 0.0016), rel=1.5 / 80)
    # Two outlines of 0.1 mm² each, without the scale.
    assert layer.u / layer.value == pytest.approx(math.sqrt(2) * 0.1 / 6.0, rel=1e-9)
    whole = _share(record, "crumbling_area")
    assert whole.value == pytest.approx(100 * 6.0 / (220 * 400 * 0.0016), rel=4 / 220)


def test_a_finding_in_no_layer_makes_shares_unknown() -> None:
    record = inspected(line_finding("crack-1", (0, 50), layer=None))
    (whole,) = _seen(record, "crack_length", "part_share")
    assert isinstance(whole.value, NotMeasured)
    assert "crack-1" in whole.value.reason
    for scope in ("part", "layer"):
        criterion = Criterion(id="s", text="t", quantity="crack_length", statistic="share",
                              scope=scope, limit=90.0, unit="%")  # type: ignore[arg-type]  # fmt: skip
        assert _result(record, criterion).outcome == "not_measured"
    assert _result(record, limits().criteria[0]).outcome == "within"


def test_shares_know_themselves_without_proposals() -> None:
    record = inspected(line_finding("crack-1", (0, 50)), line_finding("crack-2", (100, 350)))
    record = confirm_finding(record, SHA, "crack-1", by=BY)
    (whole,) = _seen(record, "crack_length", "part_share")
    assert isinstance(whole.value, Measured)
    assert isinstance(whole.confirmed_value, Measured)
    assert whole.value.value == pytest.approx(100 * 300 / (3 * VISIBLE_PX), rel=1e-9)
    assert whole.confirmed_value.value == pytest.approx(100 * 50 / (3 * VISIBLE_PX), rel=1e-9)
    done = confirm_finding(record, SHA, "crack-2", by=BY)
    (whole,) = _seen(done, "crack_length", "part_share")
    assert whole.confirmed_value is None


def test_with_all_proposals_left_out_the_photo_still_was_looked_at() -> None:
    record = assess_inspection(inspected(line_finding("crack-1", (0, 350))), limits())
    found = assessment_of(record)
    assert found is not None
    assert (found.outcome, found.confirmed_outcome, found.confirmed_score) == (
        "exceeded", "within", 0.0,
    )  # fmt: skip


def test_a_missing_width_is_missing_not_zero() -> None:
    crack = line_finding("crack-1", (0, 50))
    bare = Finding.from_dict(
        {**crack.to_dict(), "quantities": {"length": budgeted(2.0, scale=0, tip=0).to_dict()}}
    )
    wide = Criterion(id="w", text="t", quantity="crack_width", limit=1.0, unit="mm")
    result = _result(inspected(bare), wide)
    assert result.outcome == "not_measured"
    assert "crack-1, photo 1: It has no greatest crack width." in result.reason


def test_a_recess_is_no_missing_bulge() -> None:
    record = inspected(
        bulge_finding(0, peak=mm(1.2, 0.05), peak_over_thickness=Measured(
            value=30.0, u=1.0, unit="%")),
        bulge_finding(2, recess=mm(0.4, 0.05)),
        view="profile",
    )  # fmt: skip
    for quantity, value in (("bulge_peak", 1.2), ("recess", 0.4), ("bulge_over_thickness", 30)):
        values = [o.value for o in _seen(record, quantity) if o.finding]
        (one,) = values  # the other layer has none of it, which is not a missing value
        assert isinstance(one, Measured)
        assert one.value == value


def test_a_total_that_could_not_be_measured_is_not_zero() -> None:
    plain = measurement(view="profile")
    plain["totals"]["bulge_peak"] = NotMeasured(reason="One shim only.", unit="mm").to_dict()
    record = add_photo(inspected(), sha256="b" * 64, name="b.jpg", measurement=plain)
    (one,) = _seen(record, "bulge_peak")
    assert one.value == NotMeasured(reason="One shim only.", unit="mm")


def test_totals_add_over_photos() -> None:
    record = add_photo(
        inspected(line_finding("crack-1", (0, 100))), sha256="b" * 64, name="b.jpg",
        measurement=measurement(line_finding("crack-1", (0, 50))),
    )  # fmt: skip
    total = Criterion(id="t", text="t", quantity="crack_length", statistic="total",
                      scope="part", limit=10.0, unit="mm")  # fmt: skip
    result = _result(record, total)
    assert isinstance(result.value, Measured)
    assert result.value.value == pytest.approx(6.0, rel=1e-12)  # 4 mm and 2 mm
    found = assessment_of(assess_inspection(record, limits(total)))
    assert found is not None
    assert any("counted twice" in note for note in found.notes)
    assert found.n_proposed == 2


def test_a_measurement_without_layers_has_no_shares() -> None:
    bare = {**measurement(line_finding("crack-1", (0, 50))), "edge": None, "scale": None}
    record = add_photo(inspected(), sha256="b" * 64, name="b.jpg", measurement=bare)
    (_, second) = _seen(record, "crack_length", "part_share")
    assert isinstance(second.value, NotMeasured)
