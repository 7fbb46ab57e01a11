"""Edges from curves, and curves corrected by an inspector."""

import numpy as np
import pytest

from damagescore.edge import correct_layer, edge_from_curves
from damagescore.errors import EdgeError
from tests.conftest import plain_scale

X = np.linspace(0.0, 399.0, 40)


def _line(y):
    return np.column_stack([X, np.full_like(X, float(y))])


def _edge():
    return edge_from_curves(
        [_line(y) for y in (280, 200, 180, 100)], plain_scale(), shape=(300, 400)
    )


def test_layers_lie_between_the_curves():
    edge = _edge()
    assert [x.kind for x in edge.layers] == ["rubber", "shim", "rubber"]
    values = [x.thickness.value for x in edge.layers]
    assert values == pytest.approx([3.2, 0.8, 3.2], abs=1e-9)  # exact: 80, 20, 80 px


def test_a_leaning_layer_is_measured_across_not_down_the_photo():
    lean = np.column_stack([X, 100 + 0.75 * X])
    lower = lean + np.array([0, 50])
    edge = edge_from_curves([lower, lean], plain_scale(), shape=(600, 400))
    # 50 px down a slope of 3 in 4 is 40 px across.
    assert edge.layers[0].thickness.value == pytest.approx(1.6, abs=0.01)


def test_the_budget_adds_up():
    thickness = _edge().layers[0].thickness
    assert thickness.u == pytest.approx(np.sqrt(sum(c.u**2 for c in thickness.budget)))
    assert {c.source for c in thickness.budget} >= {"scale", "boundary noise", "waviness"}


def test_a_corrected_boundary_moves_both_its_layers_and_no_other():
    old = _edge()
    new = correct_layer(old, plain_scale(), 1, upper_px=_line(170)[::-1])
    assert new.layers[1].thickness.value == pytest.approx(1.2, abs=1e-9)
    assert new.layers[2].thickness.value == pytest.approx(2.8, abs=1e-9)
    assert new.layers[0] is old.layers[0]
    assert np.all(np.diff(new.layers[1].upper_px[:, 0]) > 0)


def test_unknown_layers_and_short_lines_are_refused():
    with pytest.raises(EdgeError, match="no layer 7"):
        correct_layer(_edge(), plain_scale(), 7, upper_px=_line(5))
    with pytest.raises(EdgeError, match="at least two points"):
        correct_layer(_edge(), plain_scale(), 1, upper_px=_line(5)[:1])
    with pytest.raises(EdgeError, match="two boundaries"):
        edge_from_curves([_line(5)], plain_scale(), shape=(300, 400))
