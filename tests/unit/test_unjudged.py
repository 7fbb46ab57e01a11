"""Rubber on which crumbling could not be seen is told, and never counted as sound."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from damagescore.damage.areas import measure_area
from damagescore.damage.crumbling import search_crumbling
from damagescore.damage.unjudged import Unjudged, unjudged_checks
from damagescore.edge.record import Edge
from damagescore.edge.region import visible_length_mm
from damagescore.quantity import Measured, NotMeasured, Quantity
from damagescore.totals import totals_of
from tests.unit.test_crumbling import (
    PX_PER_MM,
    WIDTH,
    area_px,
    crumbled,
    edge_of,
    outline,
    photo_of,
    rubber,
    scale_of,
)

LAYER_MM2 = WIDTH * 70 / PX_PER_MM**2


def unjudged_in(grey: np.ndarray, *, edge: Edge | None = None) -> tuple[Unjudged, ...]:
    return search_crumbling(photo_of(grey), edge or edge_of(), scale_of())[1]


def part_of(mm2: float, *, layer: int = 4, reason: str = "too dark") -> Unjudged:
    return Unjudged(
        layer=layer, reason=reason, polygon_px=np.array([[0.0, 0], [1, 0], [1, 1]]),
        area=Measured(value=mm2, u=0.0, unit="mm2"),
        share_of_layer=Measured(value=100 * mm2 / LAYER_MM2, u=0.0, unit="%"),
    )  # fmt: skip


def darkened(grey: np.ndarray, *, from_x: int) -> np.ndarray:
    fall = 1 / (1 + np.exp((np.arange(WIDTH) - from_x) / 8.0))
    return (grey * (0.02 + 0.98 * fall)).astype(np.float32)


def test_well_lit_clean_rubber_is_judged_everywhere() -> None:
    assert unjudged_in(rubber()) == ()
    assert unjudged_in(crumbled(rubber(), outline())) == ()


def test_a_dark_part_is_told_with_its_area() -> None:
    parts = unjudged_in(darkened(rubber(), from_x=700))
    assert {x.layer for x in parts} == {0, 2, 4, 6}
    assert {x.reason for x in parts} == {"too dark"}
    for part in parts:
        # The light falls within some 30 px, so the dark part begins 10 to 60 px later.
        assert 0.24 < part.area.value / LAYER_MM2 < 0.30
        assert part.share_of_layer.value == pytest.approx(
            100 * part.area.value / LAYER_MM2, rel=0.01
        )  # the outline's own rounding


def test_a_patch_lost_in_the_dark_lies_in_the_interval_of_the_total() -> None:
    polygon = outline(x=860, half=(100, 24))
    photo = photo_of(darkened(crumbled(rubber(), polygon), from_x=700))
    findings, parts = search_crumbling(photo, edge_of(), scale_of())
    assert findings == ()
    total = totals_of(findings, edge_of(), scale=scale_of(), unjudged=parts)["crumbling_area"]
    assert isinstance(total, Measured)
    assert area_px(polygon) / PX_PER_MM**2 < total.interval95[1]


def test_a_washed_out_part_is_told() -> None:
    grey = rubber()
    grey[:, 300:600] = 252.0
    parts = unjudged_in(grey)
    assert {x.reason for x in parts} == {"glare"}
    # 300 px of 70, less up to 1 mm of blur on both sides
    assert all(13 < x.area.value * PX_PER_MM**2 / 70 / PX_PER_MM < 17 for x in parts)


def test_chalk_that_covers_rubber_is_told() -> None:
    grey = rubber()
    rng = np.random.default_rng(5)
    chalk = cv2.GaussianBlur(rng.normal(0, 1, (60, 260)), (0, 0), 1.0)
    grey[125:185, 400:660] = 150 + 60 * chalk
    parts = unjudged_in(grey)
    assert [(x.layer, x.reason) for x in parts] == [(4, "covered")]


def test_rubber_behind_the_mark_is_told_but_not_what_the_inspector_leaves_out() -> None:
    card = np.array([[300.0, 110], [500, 110], [500, 200], [300, 200]])
    marked = replace(edge_of(), keep_out_px=(card,))
    (part,) = unjudged_in(rubber(), edge=marked)
    assert (part.layer, part.reason) == (4, "behind the scale mark")
    # filling takes in the pixels on the border, of which there are 12 a millimetre
    assert part.area.value == pytest.approx(200 * 70 / PX_PER_MM**2, rel=0.03)
    assert unjudged_in(rubber(), edge=replace(edge_of(), drawn_keep_out_px=(card,))) == ()
    assert unjudged_in(rubber(), edge=replace(marked, drawn_keep_out_px=(card,))) == ()


def test_a_share_is_that_of_what_could_be_judged() -> None:
    polygon = outline()
    whole = measure_area(polygon, scale_of(), edge=edge_of())["share_of_layer"]
    half = measure_area(polygon, scale_of(), edge=edge_of(), unjudged=[part_of(LAYER_MM2 / 2)])[
        "share_of_layer"
    ]
    other = measure_area(
        polygon, scale_of(), edge=edge_of(), unjudged=[part_of(LAYER_MM2 / 2, layer=2)]
    )["share_of_layer"]
    # The layer's pixels are counted, its area here is that of its outline.
    assert half.value == pytest.approx(2 * whole.value, rel=0.02)
    assert other.value == pytest.approx(whole.value)


def test_none_found_is_uncertain_by_what_was_not_seen() -> None:
    nothing = totals_of((), edge_of(), scale=scale_of())["crumbling_area"]
    assert isinstance(nothing, Measured)
    assert nothing.value == 0
    # GUM 4.3.7: half width over the root of three, for a smallest patch of 1.5 mm².
    assert nothing.u == pytest.approx(1.5 / 3**0.5)
    parts = [part_of(30.0)]
    some = totals_of((), edge_of(), scale=scale_of(), unjudged=parts)["crumbling_area"]
    assert some.u == pytest.approx(np.hypot(30.0, 1.5) / 3**0.5)


def test_none_found_is_not_measured_where_half_the_rubber_was_not_seen() -> None:
    parts = [part_of(0.6 * LAYER_MM2, layer=k) for k in (0, 2, 4, 6)]
    total = totals_of((), edge_of(), scale=scale_of(), unjudged=parts)["crumbling_area"]
    assert isinstance(total, NotMeasured)
    assert total.reason == "60 % of the rubber could not be judged."


def test_the_warning_names_layers_reason_and_remedy() -> None:
    (check,) = unjudged_checks([part_of(0.12 * LAYER_MM2)])
    assert check.outcome == "warn"
    assert check.words() == (
        "12 % of layer 4 could not be judged for crumbling: too dark. Light it again."
    )
    (many,) = unjudged_checks([part_of((0.1 + 0.1 * k) * LAYER_MM2, layer=k) for k in range(4)])
    assert many.words().startswith("10 to 40 % of 4 layers could not be judged")
    assert unjudged_checks([part_of(0.01 * LAYER_MM2)]) == ()
    (blurred,) = unjudged_checks([part_of(0.12 * LAYER_MM2, reason="out of focus")])
    assert "could not be judged for cracks and crumbling: out of focus." in blurred.words()


def test_no_crack_is_not_measured_where_half_the_rubber_is_out_of_focus() -> None:
    def total(reason: str, share: float) -> Quantity:
        parts = [part_of(share * LAYER_MM2, layer=k, reason=reason) for k in (0, 2, 4, 6)]
        return totals_of((), edge_of(), scale=scale_of(), unjudged=parts)["crack_length"]

    assert total("out of focus", 0.6).to_dict()["reason"] == (
        "60 % of the rubber could not be judged."
    )
    dark = total("too dark", 0.6)
    assert (dark.value, dark.u) == (0.0, 0.0)  # a crack shows in the dark as well


def test_what_is_out_of_focus_may_hide_a_crack_as_long_as_it_is() -> None:
    part = part_of(0.1 * LAYER_MM2, layer=2, reason="out of focus")
    wide = np.array([[100.0, 0], [200, 0], [200, 9], [100, 9]])
    found = totals_of(
        (), edge_of(), scale=scale_of(), unjudged=[replace(part, polygon_px=wide)]
    )
    length_mm = 100 * scale_of().mm_per_px
    for name in ("crack_length", "bond_gap_length"):
        assert (found[name].value, found[name].u) == (0.0, pytest.approx(length_mm / 3**0.5))
    extent = found["crack_extent_percent"]
    whole_mm = sum(visible_length_mm(x, edge_of(), scale_of()) for x in edge_of().rubber)
    assert extent.u == pytest.approx(100 * length_mm / whole_mm / 3**0.5)


def test_parts_come_back_from_plain_data() -> None:
    (part,) = unjudged_in(rubber(), edge=replace(
        edge_of(), keep_out_px=(np.array([[300.0, 110], [500, 110], [500, 200], [300, 200]]),)
    ))  # fmt: skip
    again = Unjudged.from_dict(part.to_dict())
    assert again.to_dict() == part.to_dict()
