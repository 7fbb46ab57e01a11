"""Layers corrected in a record: kept as an edit, taken back, told in the report."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from damagescore.edge import add_shim, boundaries_of, correct_layer, on_scale, remove_layer
from damagescore.edge.missed import shim_at
from damagescore.edge.record import Edge
from damagescore.errors import EdgeError, RecordError
from damagescore.inspection import (
    Inspection,
    add_photo,
    change_layers,
    clash_of,
    confirm_finding,
    content_sha256,
    inspection_from_dict,
    inspection_to_dict,
    new_inspection,
    redo,
    undo,
)
from damagescore.layers import with_layers
from damagescore.measure import Measurement, MeasureOptions, measure_photo
from damagescore.photo.record import Photo
from damagescore.quantity import Measured
from damagescore.report.changes import change_text
from tests.conftest import flat_edge, plain_scale
from tests.inspection_samples import SHA, bulge_finding, inspected, mm

BY = "R. Alder"
Change = Callable[[Measurement], Edge]


@pytest.fixture
def record(photo: Photo, measured: Measurement) -> Inspection:
    begun = add_photo(
        new_inspection(by=BY), sha256=photo.sha256, name="edge.jpg",
        measurement=measured.to_dict(), options=MeasureOptions().to_dict(), by=BY,
    )  # fmt: skip
    return confirm_finding(begun, photo.sha256, measured.findings[0].id, by=BY)


def _corrected(record: Inspection, photo: Photo, edge: Edge, **how: str) -> Inspection:
    old = Measurement.from_dict(record.photos[0].measurement)
    return change_layers(
        record, photo.sha256, measurement=with_layers(photo, old, edge).to_dict(),
        target="layer 3", by=BY, **{"reason": "Lay wrong", **how},
    )  # fmt: skip


def _without_shim(measured: Measurement) -> Edge:
    return remove_layer(measured.edge, measured.scale, 3)


def _moved(measured: Measurement) -> Edge:
    lower = measured.edge.layers[3].lower_px - np.array([0.0, 3.0])
    return correct_layer(measured.edge, measured.scale, 3, lower_px=lower)


@pytest.mark.parametrize("edge_of", [_without_shim, _moved])
def test_a_correction_is_taken_back_and_made_again_exactly(
    photo: Photo, measured: Measurement, record: Inspection, edge_of: Change
) -> None:
    changed = _corrected(record, photo, edge_of(measured))
    assert changed.photos != record.photos
    assert changed.photos[0].reviews == record.photos[0].reviews
    back = undo(changed, by=BY, photo=photo.sha256)
    assert back.photos == record.photos
    assert redo(back, by=BY, photo=photo.sha256).photos == changed.photos
    again = inspection_from_dict(inspection_to_dict(changed))
    assert again == changed
    assert content_sha256(again) == content_sha256(changed)


def test_no_finding_is_lost_with_its_layer(
    photo: Photo, measured: Measurement, record: Inspection
) -> None:
    edge = measured.edge
    lowest = {f.id for f in measured.findings if f.layer == 0}
    assert lowest
    changed = _corrected(record, photo, remove_layer(edge, measured.scale, 0))
    after = {f["id"]: f for f in changed.photos[0].measurement["findings"]}
    assert set(after) == {f.id for f in measured.findings}
    assert {after[name]["layer"] for name in lowest} == {None}
    for name in lowest:
        assert after[name]["quantities"]["length"]["value"] > 0


def test_the_report_tells_old_and_new_thickness(
    photo: Photo, measured: Measurement, record: Inspection
) -> None:
    moved = _corrected(record, photo, _moved(measured)).edits[-1]
    assert (moved.by, moved.reason, moved.action) == (BY, "Lay wrong", "move_boundary")
    said = change_text(moved.before, moved.after, unit="mm")
    olds, news = said.split(" → ")
    assert ["layer 2 (rubber)" in x and "layer 3 (shim)" in x for x in (olds, news)] == [
        True
    ] * 2
    removed = _corrected(record, photo, _without_shim(measured), action="remove_layer")
    said = change_text(removed.edits[-1].before, removed.edits[-1].after, unit="mm")
    count = len(measured.edge.layers)
    assert said.startswith(f"{count} layers → {count - 2} layers; layer 2 (rubber)")
    # Layers above only got another number.
    assert "layer 6" not in said


def test_a_correction_needs_a_reason(photo: Photo, measured: Measurement) -> None:
    begun = add_photo(
        new_inspection(by=BY), sha256=photo.sha256, name="a", measurement=measured.to_dict()
    )
    with pytest.raises(RecordError, match="reason"):
        _corrected(begun, photo, _moved(measured), reason=" ")


def test_a_review_and_a_correction_stand_beside_each_other_two_corrections_do_not(
    photo: Photo, measured: Measurement, record: Inspection
) -> None:
    seen = len(record.edits)
    reviewed = confirm_finding(record, photo.sha256, measured.findings[1].id, by="S. Birch")
    assert clash_of(reviewed, _corrected(reviewed, photo, _moved(measured)), seen=seen) is None
    first = _corrected(record, photo, _moved(measured))
    second = _corrected(first, photo, _without_shim(measured))
    assert clash_of(first, second, seen=seen) is not None


def test_corrected_layers_outlast_measuring_again(photo: Photo, measured: Measurement) -> None:
    wrong = with_layers(photo, measured, _without_shim(measured))
    again = measure_photo(photo, MeasureOptions(), before=wrong)
    assert len(again.edge.layers) == len(measured.edge.layers) - 2
    assert again.edge.by_hand == wrong.edge.by_hand == ()
    for one, other in zip(again.edge.layers, wrong.edge.layers, strict=True):
        assert np.array_equal(one.upper_px, other.upper_px)
        # Not settled to the edge's centre yet, the scale differs in its last digits.
        assert one.thickness.value == pytest.approx(other.thickness.value, rel=1e-3)


def test_rubber_that_was_not_searched_is_told(photo: Photo, measured: Measurement) -> None:
    def check(m: Measurement) -> tuple[str, float | None]:
        found = next(c for c in m.quality.checks if c.name == "layers")
        return found.outcome, found.value

    removed = with_layers(photo, measured, _without_shim(measured))
    before, after = (int(m.edge.judged.sum()) for m in (measured, removed))
    outcome, percent = check(removed)
    assert outcome == "warn"
    assert percent == pytest.approx(100 * (after - before) / after, abs=0.06)  # one digit
    assert check(with_layers(photo, removed, removed.edge)) == (outcome, percent)
    pixel = measured.edge.layers[3].lower_px - np.array([0.0, 0.3])
    slight = correct_layer(measured.edge, measured.scale, 3, lower_px=pixel)
    assert check(with_layers(photo, measured, slight))[0] == "pass"


def test_a_line_along_a_new_border_becomes_a_bond_gap_and_back(
    photo: Photo, measured: Measurement
) -> None:
    crack = max(measured.findings, key=lambda f: f.quantities["length"].value)
    assert crack.kind == "crack"
    layer = next(x for x in measured.edge.layers if x.index == crack.layer)
    y = float(np.median(crack.lines_px[0][:, 1]))
    shift = y + 3 - float(np.median(layer.lower_px[:, 1]))
    line = crack.lines_px[0] + np.array([0.0, 3.0])
    ends = np.array([[layer.lower_px[0, 0], line[0, 1]], [layer.lower_px[-1, 0], line[-1, 1]]])
    border = np.vstack([line, ends]) if shift < 0 else line
    changed = correct_layer(measured.edge, measured.scale, layer.index, lower_px=border)
    after = with_layers(photo, measured, changed)
    assert next(f for f in after.findings if f.id == crack.id).kind == "bond_gap"
    back = with_layers(photo, after, measured.edge)
    assert next(f for f in back.findings if f.id == crack.id).kind == "crack"
    assert back.totals == measured.totals


def test_a_layer_that_the_inspector_chose_stays_under_its_new_number(
    photo: Photo, measured: Measurement
) -> None:
    chosen = replace(measured.findings[0], layer=6)
    by_hand = replace(measured, findings=(chosen, *measured.findings[1:]))
    after = with_layers(photo, by_hand, remove_layer(measured.edge, measured.scale, 3))
    assert after.findings[0].layer == 4


def test_a_missed_shim_is_found_from_one_click(photo: Photo, measured: Measurement) -> None:
    for index in (1, 3, 5):
        truth = measured.edge.layers[index]
        edge = remove_layer(measured.edge, measured.scale, index)
        middle = len(truth.upper_px) // 2
        click = (truth.upper_px[middle] + truth.lower_px[middle]) / 2
        place = shim_at(photo, edge, measured.scale, point_px=click)
        found = add_shim(
            edge, measured.scale, upper_px=place.upper_px, lower_px=place.lower_px
        ).layers[index]
        assert found.kind == "shim"
        for one, other in ((found.upper_px, truth.upper_px), (found.lower_px, truth.lower_px)):
            off = np.interp(one[:, 0], *other.T) - one[:, 1]
            # On development photos half of the sides lay within 0.4 px, nine in ten in 0.9.
            assert np.abs(off).mean() < 1.5


def test_a_shim_beyond_the_stack_brings_its_rubber_and_a_shim_is_not_parted() -> None:
    # A blank photo: nothing stands out, so the shim gets the usual thickness.
    grey = np.full((300, 400), 90, np.float32)
    blank = Photo(
        name="a", sha256="0" * 64, rgb=np.zeros((300, 400, 3), np.uint8), grey=grey,
        bit_depth=8, camera=None,
    )  # fmt: skip
    edge, scale = flat_edge(tops=(280, 220, 210, 150)), plain_scale()
    place = shim_at(blank, edge, scale, point_px=np.array([200.0, 120.0]))
    found = add_shim(
        edge, scale, upper_px=place.upper_px, lower_px=place.lower_px, outer_px=place.outer_px
    )
    assert [float(c[0, 1]) for c in boundaries_of(found)] == [280, 220, 210, 150, 140, 80]
    place = shim_at(blank, edge, scale, point_px=np.array([200.0, 250.0]))
    assert [place.upper_px[0, 1], place.lower_px[0, 1]] == pytest.approx([245, 255], abs=1)
    with pytest.raises(EdgeError, match="is a shim already"):
        shim_at(blank, edge, scale, point_px=np.array([200.0, 215.0]))
    with pytest.raises(EdgeError, match="too little of the photo"):
        shim_at(blank, edge, scale, point_px=np.array([200.0, 295.0]))


def test_a_hand_knows_a_boundary_less_well_and_another_scale_keeps_that() -> None:
    edge, scale = flat_edge(), plain_scale()
    line = edge.layers[1].upper_px - np.array([0.0, 2.0])
    moved = correct_layer(edge, scale, 1, upper_px=line)
    assert moved.by_hand == (2,)

    def noise(layer_edge: Edge) -> float:
        thickness = layer_edge.layers[1].thickness
        assert isinstance(thickness, Measured)
        return next(c.u for c in thickness.budget if c.source == "boundary noise")

    # One side found within 0.3 px, one put by hand within 1 px, at 0.04 mm a pixel.
    assert noise(moved) == pytest.approx(0.04 * np.hypot(0.3, 1.0))
    twice = plain_scale(0.08)
    assert noise(on_scale(moved, twice, before=scale)) == pytest.approx(2 * noise(moved))
    assert Edge.from_dict(moved.to_dict()).by_hand == (2,)
    assert remove_layer(moved, scale, 1).by_hand == ()


def test_bulges_found_anew_lose_their_review_until_the_correction_is_taken_back() -> None:
    record = inspected(bulge_finding(2, peak=mm(0.4)), view="profile")
    record = confirm_finding(record, SHA, "bulge-2", by=BY)
    plain = record.photos[0].measurement
    found = {**plain, "findings": [bulge_finding(2, peak=mm(0.6)).to_dict()]}
    changed = change_layers(
        record, SHA, measurement=found, target="layer 2", by=BY, reason="Lay wrong"
    )
    assert changed.photos[0].reviews == {}
    assert undo(changed, by=BY, photo=SHA).photos == record.photos
