"""One photo measured, corrected and measured again."""

import json
from dataclasses import replace

import numpy as np
import pytest

from damagescore import measure
from damagescore.errors import EdgeError, PhotoError, UsageError
from damagescore.measure import (
    Measurement,
    MeasureOptions,
    layer_at,
    measure_photo,
    remeasure,
    unreadable,
    with_findings,
)
from damagescore.photo.record import Photo
from damagescore.quantity import Measured, NotMeasured
from damagescore.scale import ScaleRequest


def _value(measurement: Measurement, name: str) -> float:
    quantity = measurement.totals[name]
    assert isinstance(quantity, Measured)
    return quantity.value


def test_a_measurement_survives_json(measured: Measurement) -> None:
    plain = json.loads(json.dumps(measured.to_dict(), allow_nan=False))
    again = Measurement.from_dict(plain)
    assert json.loads(json.dumps(again.to_dict())) == plain


def test_another_schema_is_not_read(measured: Measurement) -> None:
    with pytest.raises(UsageError, match="something/else"):
        Measurement.from_dict(measured.to_dict() | {"schema": "something/else"})


def test_options_survive_json() -> None:
    options = MeasureOptions(
        view="profile", n_layers=6, smallest_limit_mm=0.5,
        scale=ScaleRequest(
            kind="two_points", size_mm=20.0, points_px=((1.0, 2.0), (300.0, 4.0)),
        ),
    )  # fmt: skip
    assert MeasureOptions.from_dict(json.loads(json.dumps(options.to_dict()))) == options


def test_the_same_line_drawn_by_hand_measures_the_same(
    photo: Photo, measured: Measurement
) -> None:
    found = measured.findings[0]
    again = remeasure(photo, measured, found.id, lines_px=found.lines_px)
    mine = again.findings[0].quantities["length"]
    auto = found.quantities["length"]
    assert isinstance(mine, Measured)
    assert isinstance(auto, Measured)
    # automatic tips are extended for what they miss; 1 % bounds that
    assert mine.value == pytest.approx(auto.value, rel=0.01)
    assert again.findings[0].origin == "drawn"
    assert len(again.findings) == len(measured.findings)


def test_an_added_line_adds_its_length_to_the_total(
    photo: Photo, measured: Measurement
) -> None:
    assert measured.edge is not None
    assert measured.scale is not None
    middle = measured.edge.rubber[1].polygon_px.mean(axis=0)
    line = middle + np.array([[-100.0, 0.0], [100.0, 0.0]])
    more = remeasure(photo, measured, "crack-n1", lines_px=[line], origin="traced")
    grown = _value(more, "crack_length") - _value(measured, "crack_length")
    # exact: the length of a straight line on the surface map
    assert grown == pytest.approx(measured.scale.surface.length_mm(line), rel=1e-6)
    assert more.findings[-1].layer == measured.edge.rubber[1].index


def test_a_crack_called_bond_gap_moves_between_the_totals(
    photo: Photo, measured: Measurement
) -> None:
    first = measured.findings[0]
    other = remeasure(photo, measured, first.id, kind="bond_gap")
    moved = _value(other, "bond_gap_length")
    assert moved > 0
    left = _value(measured, "crack_length") - _value(other, "crack_length")
    # the same line, measured the same way but for the tips' allowance
    assert moved == pytest.approx(left, rel=0.01)


def test_a_drawn_rectangle_has_its_area(photo: Photo, measured: Measurement) -> None:
    assert measured.edge is not None
    assert measured.scale is not None
    middle = measured.edge.rubber[2].polygon_px.mean(axis=0)
    corners = middle + np.array([[-60.0, -20.0], [60, -20], [60, 20], [-60, 20]])
    more = remeasure(photo, measured, "crumbling-n1", polygon_px=corners)
    # exact: the polygon's area on the surface map
    expected = measured.scale.surface.area_mm2(corners)
    assert _value(more, "crumbling_area") == pytest.approx(expected, rel=1e-6)


def test_rejecting_everything_leaves_nothing_found(measured: Measurement) -> None:
    none = with_findings(measured, ())
    assert _value(none, "crack_length") == 0


def test_a_bulge_cannot_be_drawn(photo: Photo, measured: Measurement) -> None:
    line = np.array([[100.0, 500.0], [200.0, 500.0]])
    with pytest.raises(UsageError, match="bulge"):
        remeasure(photo, measured, "x", lines_px=[line], kind="bulge")


def test_an_area_needs_an_outline_and_a_crack_a_line(
    photo: Photo, measured: Measurement
) -> None:
    line = np.array([[100.0, 500.0], [200.0, 500.0]])
    with pytest.raises(UsageError, match="outline"):
        remeasure(photo, measured, "x", lines_px=[line], kind="crumbling")
    with pytest.raises(UsageError, match="line"):
        remeasure(photo, measured, "x", polygon_px=np.vstack([line, line + 50]), kind="crack")
    with pytest.raises(UsageError, match="no-such"):
        remeasure(photo, measured, "no-such")


def test_a_refused_photo_cannot_be_corrected(photo: Photo) -> None:
    refused = unreadable("a.jpg", PhotoError("The file is empty."))
    with pytest.raises(UsageError, match="refused"):
        remeasure(photo, refused, "x", lines_px=[np.array([[0.0, 0], [9, 9]])])
    assert all(isinstance(q, NotMeasured) for q in refused.totals.values())


def test_the_layer_under_a_line(measured: Measurement) -> None:
    edge = measured.edge
    assert edge is not None
    middle = edge.rubber[3].polygon_px.mean(axis=0)
    assert layer_at(middle[None], edge) == edge.rubber[3].index
    assert layer_at(np.array([[5.0, 5.0]]), edge) is None


@pytest.mark.parametrize("count", ["rubber", "all"])
def test_a_given_number_of_layers_may_count_either_way(
    photo: Photo, measured: Measurement, count: str
) -> None:
    assert measured.edge is not None
    n = len(measured.edge.rubber if count == "rubber" else measured.edge.layers)
    told = measure_photo(photo, replace(MeasureOptions(), n_layers=n))
    assert told.edge is not None
    assert len(told.edge.layers) == len(measured.edge.layers)


def test_a_given_number_that_agrees_settles_the_doubt(
    photo: Photo, measured: Measurement, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert measured.edge is not None
    doubted = replace(measured.edge, doubt="a band like a shim lies inside a layer")
    monkeypatch.setattr(measure, "find_edge", lambda *_, **__: doubted)

    def doubt_told(n: int | None) -> str:
        edge = measure_photo(photo, replace(MeasureOptions(), n_layers=n)).edge
        assert edge is not None
        return edge.doubt

    assert doubt_told(None) == doubted.doubt
    assert doubt_told(len(doubted.rubber)) == ""
    # Rubber and shims together, or as many layers of rubber, of which some were missed.
    assert doubt_told(len(doubted.layers)) == doubted.doubt


def test_more_sensitivity_never_loses_what_less_found(photo: Photo) -> None:
    counts = [
        len(measure_photo(photo, MeasureOptions(sensitivity=s)).findings)
        for s in (0.2, 0.5, 0.9)
    ]
    assert counts == sorted(counts)


def test_an_outline_without_a_datum_refuses_the_photo(
    photo: Photo, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_datum(*_: object) -> None:
        raise EdgeError("1 shim reaches the outline.", remedy="Take more of the stack.")

    monkeypatch.setattr(measure, "search_cracks", lambda *_, **__: no_datum())
    refused = measure_photo(photo, MeasureOptions())
    assert not refused.quality.usable
    assert refused.findings == ()
    assert "1 shim" in next(c.message for c in refused.quality.checks if c.name == "edge")
    assert all(isinstance(q, NotMeasured) for q in refused.totals.values())
