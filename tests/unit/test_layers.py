"""A wrong layer is put right, and everything that hangs on it follows."""

from dataclasses import replace

import numpy as np
import pytest

from damagescore.edge import boundaries_of, correct_layer, edge_from_curves
from damagescore.errors import UsageError
from damagescore.layers import with_layers
from damagescore.measure import Measurement
from damagescore.photo.record import Photo
from damagescore.quantity import Measured


def _without_lowest_shim(measurement: Measurement) -> Measurement:
    """The same measurement with the two lowest rubber layers taken for one."""
    edge = measurement.edge
    curves = boundaries_of(edge)
    wrong = edge_from_curves(
        [curves[0], *curves[3:]], measurement.scale, shape=edge.shape,
        keep_out_px=edge.keep_out_px, direction_deg=edge.direction_deg,
    )  # fmt: skip
    return replace(measurement, edge=wrong)


def test_the_right_layers_give_back_what_the_wrong_ones_spoilt(
    photo: Photo, measured: Measurement
) -> None:
    wrong = with_layers(photo, measured, _without_lowest_shim(measured).edge)
    assert {f.id for f in wrong.findings} == {f.id for f in measured.findings}
    moved = {f.id: f.layer for f in wrong.findings}
    for finding in measured.findings:
        expected = 0 if finding.layer == 0 else finding.layer - 2
        assert moved[finding.id] == expected
    right = with_layers(photo, wrong, measured.edge)
    assert [f.layer for f in right.findings] == [f.layer for f in measured.findings]
    assert right.totals == measured.totals


def test_a_total_that_is_a_share_follows_the_visible_layers(
    photo: Photo, measured: Measurement
) -> None:
    wrong = with_layers(photo, measured, _without_lowest_shim(measured).edge)
    before, after = (m.totals["crack_extent_percent"] for m in (measured, wrong))
    assert isinstance(before, Measured)
    assert isinstance(after, Measured)
    # one rubber layer fewer, each about as long: the share grows as the sum of lengths falls
    count = len(measured.edge.rubber)
    assert after.value == pytest.approx(before.value * count / (count - 1), rel=0.02)


def test_a_moved_boundary_changes_its_two_layers_only(
    photo: Photo, measured: Measurement
) -> None:
    edge = measured.edge
    shifted = edge.layers[1].upper_px + np.array([0.0, -4.0])
    corrected = correct_layer(edge, measured.scale, 1, upper_px=shifted)
    after = with_layers(photo, measured, corrected)
    mm = 4.0 * measured.scale.mm_per_px
    changes = [
        b.thickness.value - a.thickness.value
        for a, b in zip(edge.layers, after.edge.layers, strict=True)
    ]
    # 2 %: the scale at the boundary differs from that at the centre by the perspective
    assert changes[1:3] == pytest.approx([mm, -mm], rel=0.02)
    assert changes[:1] + changes[3:] == [0.0] * (len(changes) - 2)


def test_layers_of_another_photo_are_refused(photo: Photo, measured: Measurement) -> None:
    other = replace(measured.edge, shape=(100, 200))
    with pytest.raises(UsageError, match="200 × 100 px"):
        with_layers(photo, measured, other)
    with pytest.raises(UsageError, match="no layers to correct"):
        with_layers(photo, replace(measured, edge=None), measured.edge)
