"""Totals: sums, shares, and what could not be measured."""

import math

import numpy as np
import pytest

from damagescore.damage.record import Finding
from damagescore.edge.record import Edge
from damagescore.quantity import Contribution, Measured, NotMeasured, from_budget
from damagescore.scale.record import Scale
from damagescore.totals import totals_of
from tests.conftest import MM_PER_PX


def _crack(name: str, x0: float, x1: float, *, y: float = 240.0, layer: int = 0) -> Finding:
    line = np.array([[x0, y], [x1, y]])
    length = abs(x1 - x0) * MM_PER_PX
    lines = (
        Contribution(source="scale", u=0.001 * length),
        Contribution(source="tip position", u=0.05),
    )
    return Finding(
        id=name, kind="crack", layer=layer, strength=1.0, lines_px=(line,),
        quantities={"length": from_budget(length, lines, unit="mm")},
    )  # fmt: skip


def test_nothing_found_is_zero_not_missing(edge: Edge, scale: Scale) -> None:
    totals = totals_of((), edge, scale=scale)
    assert {name: q.value for name, q in totals.items() if isinstance(q, Measured)} == {
        "crack_length": 0.0, "bond_gap_length": 0.0, "crumbling_area": 0.0,
        "bulge_peak": 0.0, "crack_extent_percent": 0.0,
    }  # fmt: skip


def test_lengths_add_and_the_shared_scale_adds_linearly(edge: Edge, scale: Scale) -> None:
    findings = (_crack("a", 0, 100), _crack("b", 150, 250))
    total = totals_of(findings, edge, scale=scale)["crack_length"]
    assert isinstance(total, Measured)
    assert total.value == pytest.approx(8.0)
    # 8 mm of 0.1 % scale, and two independent tips of 0.05 mm (GUM 5.2.2, note 1)
    assert total.u == pytest.approx(math.hypot(0.008, 0.05 * math.sqrt(2)), rel=1e-9)


def test_one_unmeasured_finding_leaves_the_total_unmeasured(edge: Edge, scale: Scale) -> None:
    blind = Finding(
        id="c", kind="crack", layer=0, strength=1.0,
        lines_px=(np.array([[0.0, 240], [9, 240]]),),
        quantities={"length": NotMeasured(reason="tip out of the photo", unit="mm")},
    )  # fmt: skip
    total = totals_of((_crack("a", 0, 100), blind), edge, scale=scale)["crack_length"]
    assert isinstance(total, NotMeasured)
    assert "1 finding" in total.reason


def test_extent_counts_overlapping_cracks_of_a_layer_once(edge: Edge, scale: Scale) -> None:
    visible_px = 3 * 399  # three rubber layers across the photo
    overlapping = (_crack("a", 0, 200, y=240), _crack("b", 100, 300, y=260))
    share = totals_of(overlapping, edge, scale=scale)["crack_extent_percent"]
    assert isinstance(share, Measured)
    assert share.value == pytest.approx(100 * 300 / visible_px)


def test_extent_counts_the_same_stretch_in_two_layers_twice(edge: Edge, scale: Scale) -> None:
    stacked = (_crack("a", 0, 200), _crack("b", 0, 200, y=140, layer=2))
    share = totals_of(stacked, edge, scale=scale)["crack_extent_percent"]
    assert isinstance(share, Measured)
    assert share.value == pytest.approx(100 * 400 / (3 * 399))


def test_the_largest_bulge_is_the_peak(edge: Edge, scale: Scale) -> None:
    bulges = tuple(
        Finding(id=f"bulge-{i}", kind="bulge", layer=i, strength=1.0,
                quantities={"peak": Measured(value=v, u=0.01, unit="mm")})
        for i, v in ((0, 0.4), (2, 1.3), (4, 0.9))
    )  # fmt: skip
    peak = totals_of(bulges, edge, scale=scale)["bulge_peak"]
    assert isinstance(peak, Measured)
    assert peak.value == 1.3
