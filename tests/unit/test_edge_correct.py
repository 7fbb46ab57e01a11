"""Layers added, removed and moved by an inspector."""

from dataclasses import replace

import numpy as np
import pytest

from damagescore.edge import (
    add_shim,
    boundaries_of,
    correct_layer,
    edge_from_curves,
    remove_layer,
    with_region,
)
from damagescore.edge.record import Edge
from damagescore.errors import EdgeError
from tests.conftest import plain_scale

X = np.linspace(0.0, 399.0, 40)
SCALE = plain_scale()
MM = SCALE.mm_per_px
LEVELS = (280.0, 220.0, 210.0, 150.0, 140.0, 80.0)


def _line(y: float) -> np.ndarray:
    return np.column_stack([X, np.full_like(X, y)])


def _edge(levels: tuple[float, ...] = LEVELS) -> Edge:
    return edge_from_curves([_line(y) for y in levels], SCALE, shape=(300, 400))


def _levels(edge: Edge) -> list[float]:
    return [float(c[:, 1].mean()) for c in boundaries_of(edge)]


def _kinds(edge: Edge) -> str:
    return "".join(x.kind[0] for x in edge.layers)


def test_a_missed_shim_parts_the_rubber_in_which_it_lies() -> None:
    missed = _edge((280.0, 220.0, 210.0, 80.0))
    found = add_shim(missed, SCALE, upper_px=_line(140)[::-1], lower_px=_line(150))
    assert _levels(found) == list(LEVELS)
    assert _kinds(found) == "rsrsr"
    assert [x.index for x in found.layers] == [0, 1, 2, 3, 4]
    assert found.layers[0] is missed.layers[0]
    assert found.layers[2].thickness.value == pytest.approx(60 * MM)


def test_the_sides_of_a_shim_may_be_given_either_way_round() -> None:
    missed = _edge((280.0, 220.0, 210.0, 80.0))
    found = add_shim(missed, SCALE, upper_px=_line(150), lower_px=_line(140))
    assert _levels(found) == list(LEVELS)


@pytest.mark.parametrize(
    ("levels", "shim", "outer"),
    [(LEVELS[:4], (150.0, 140.0), 80.0), (LEVELS[2:], (220.0, 210.0), 280.0)],
)
def test_a_shim_beyond_the_stack_needs_the_rubber_behind_it(
    levels: tuple[float, ...], shim: tuple[float, float], outer: float
) -> None:
    sides = {"lower_px": _line(shim[0]), "upper_px": _line(shim[1])}
    with pytest.raises(EdgeError, match="beyond the stack"):
        add_shim(_edge(levels), SCALE, **sides)
    found = add_shim(_edge(levels), SCALE, outer_px=_line(outer), **sides)
    assert _levels(found) == list(LEVELS)
    assert _kinds(found) == "rsrsr"


def test_adding_and_removing_a_shim_gives_back_the_old_layers() -> None:
    edge = _edge()
    without = remove_layer(edge, SCALE, 3)
    assert _levels(without) == [280.0, 220.0, 210.0, 80.0]
    assert without.layers[2].thickness.value == pytest.approx(130 * MM)
    again = add_shim(without, SCALE, upper_px=_line(140), lower_px=_line(150))
    assert [x.thickness.value for x in again.layers] == pytest.approx(
        [x.thickness.value for x in edge.layers]
    )


def test_an_end_layer_goes_with_the_shim_beside_it() -> None:
    edge = _edge()
    assert _levels(remove_layer(edge, SCALE, 4)) == list(LEVELS[:4])
    lower = remove_layer(edge, SCALE, 0)
    assert _levels(lower) == list(LEVELS[2:])
    assert [x.index for x in lower.layers] == [0, 1, 2]
    assert lower.layers[0].thickness == edge.layers[2].thickness


def test_layers_that_cannot_go_are_refused() -> None:
    with pytest.raises(EdgeError, match="rubber between two shims"):
        remove_layer(_edge(), SCALE, 2)
    with pytest.raises(EdgeError, match="no layer 9"):
        remove_layer(_edge(), SCALE, 9)
    with pytest.raises(EdgeError, match="too little"):
        remove_layer(_edge(LEVELS[:4]), SCALE, 0)


def test_boundaries_must_not_cross() -> None:
    with pytest.raises(EdgeError, match="would cross"):
        correct_layer(_edge(), SCALE, 1, upper_px=_line(100))
    with pytest.raises(EdgeError, match="would cross"):
        add_shim(_edge(), SCALE, upper_px=_line(205), lower_px=_line(215))


def test_boundaries_that_crossed_as_found_do_not_keep_others_from_being_put_right() -> None:
    wrong = _edge((280.0, 220.0, 210.0, 140.0, 150.0, 80.0))
    assert _levels(correct_layer(wrong, SCALE, 1, upper_px=_line(208)))[2] == 208
    assert _levels(correct_layer(wrong, SCALE, 3, upper_px=_line(130)))[4] == 130
    with pytest.raises(EdgeError, match="layer 4 would cross"):
        correct_layer(wrong, SCALE, 4, upper_px=_line(155))


def test_outline_region_and_areas_kept_out_stay() -> None:
    outline = np.column_stack([np.full(9, 5.0), np.linspace(80, 280, 9)])
    region = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 299.0], [0.0, 299.0]])
    edge = with_region(replace(_edge(), outline_px=outline), region_px=region)
    for changed in (
        correct_layer(edge, SCALE, 1, upper_px=_line(208)),
        remove_layer(edge, SCALE, 3),
    ):
        assert changed.outline_px is outline
        assert changed.region_px is not None
        assert not changed.judged[:, 302:].any()


def test_layers_read_from_a_record_keep_what_was_measured() -> None:
    stored = Edge.from_dict(_edge().to_dict())
    changed = remove_layer(stored, SCALE, 3)
    assert changed.layers[0].thickness == stored.layers[0].thickness
