"""Marks, labels and the raster overlay: in place, told apart, nothing hidden."""

import io

import numpy as np
import pytest
from PIL import Image

from damagescore.report import overlay, overlay_png
from damagescore.report.closeup import close_up
from damagescore.report.labels import Wanted, boxes_along, no_boxes, place_labels
from damagescore.report.marks import (
    STYLES,
    finding_labels,
    finding_marks,
    hatch_lines,
    kinds_in,
    scale_bar,
    turn_lines_px,
)

GREY = 90


def a_photo(width: int = 600, height: int = 400) -> np.ndarray:
    return np.full((height, width, 3), GREY, dtype=np.uint8)


def a_finding(name: str, kind: str, **geometry: object) -> dict:
    return {
        "id": name, "kind": kind, "layer": 0, "strength": 1.0, "lines_px": [],
        "polygon_px": None, "quantities": {}, **geometry,
    }  # fmt: skip


def a_measurement(*findings: dict, mm_per_px: float | None = 0.05) -> dict:
    scale = None if mm_per_px is None else {"mm_per_px": mm_per_px}
    return {"scale": scale, "layers": [], "findings": list(findings)}


def coloured(pixels: np.ndarray) -> np.ndarray:
    """Where the picture is neither grey, black nor white."""
    spread = pixels.max(axis=2).astype(int) - pixels.min(axis=2)
    return spread > 60  # anti-aliased greys have no spread at all


def test_a_crack_is_drawn_where_it_lies() -> None:
    crack = a_finding("crack-1", "crack", lines_px=[[[100, 200], [300, 200]]])
    y, x = np.nonzero(coloured(overlay(a_photo(), a_measurement(crack))))
    assert x.min() == pytest.approx(100, abs=3)  # half the line's width
    assert x.max() == pytest.approx(300, abs=3)
    assert y.mean() == pytest.approx(200, abs=1.5)  # whole-pixel drawing


def test_a_large_photo_is_made_smaller_and_its_marks_with_it() -> None:
    crack = a_finding("crack-1", "crack", lines_px=[[[1000, 2000], [3000, 2000]]])
    shown = overlay(a_photo(4000, 3000), a_measurement(crack))
    assert shown.shape == (1500, 2000, 3)
    y, x = np.nonzero(coloured(shown))
    assert x.min() == pytest.approx(500, abs=5)  # half the line's width
    assert y.mean() == pytest.approx(1000, abs=2)


def test_the_photo_itself_is_not_changed() -> None:
    photo = a_photo()
    overlay(photo, a_measurement(a_finding("c", "crack", lines_px=[[[10, 10], [90, 90]]])))
    assert (photo == GREY).all()


def test_nothing_found_and_no_scale_leave_the_photo_as_it_is() -> None:
    assert (overlay(a_photo(), a_measurement(mm_per_px=None)) == GREY).all()


@pytest.mark.parametrize("kind", ["crack", "bond_gap", "bulge"])
def test_a_dashed_kind_has_gaps_and_a_solid_one_has_none(kind: str) -> None:
    line = a_finding("x", kind, lines_px=[[[50, 200], [550, 200]]])
    row = coloured(overlay(a_photo(), a_measurement(line)))[195:206, 60:540].any(axis=0)
    assert row.all() == (not STYLES[kind].dash)


def test_line_styles_differ_without_colour() -> None:
    shapes = {(s.width, s.dash, s.hatch) for s in STYLES.values()}
    assert len(shapes) == len(STYLES)


def test_a_rejected_finding_is_drawn_as_rejected_only() -> None:
    crack = a_finding("crack-1", "crack", lines_px=[[[100, 200], [300, 200]]])
    shown = overlay(a_photo(), a_measurement(crack), states={"crack-1": "rejected"})
    assert not coloured(shown).any()
    assert (shown != GREY).any()
    assert kinds_in(a_measurement(crack), {"crack-1": "rejected"}) == ["rejected"]


def test_the_png_holds_the_same_pixels() -> None:
    measurement = a_measurement(a_finding("c", "crack", lines_px=[[[10, 10], [90, 90]]]))
    read = np.asarray(Image.open(io.BytesIO(overlay_png(a_photo(), measurement))))
    assert (read == overlay(a_photo(), measurement)).all()


@pytest.mark.parametrize(
    ("mm_per_px", "unit", "text", "length_px"),
    [
        (0.05, "mm", "5 mm", 100.0),  # a quarter of 600 px is 7.5 mm
        (0.04, "mm", "5 mm", 125.0),  # 6 mm
        (0.03, "mm", "2 mm", 2 / 0.03),  # 4.5 mm
        (1.0, "mm", "100 mm", 100.0),  # 150 mm
        (0.05, "in", "0.2 in", 0.2 * 25.4 / 0.05),  # 0.295 in
        (0.0005, "mm", "0.05 mm", 100.0),  # 0.075 mm
    ],
)
def test_the_scale_bar_is_round_and_of_true_length(
    mm_per_px: float, unit: str, text: str, length_px: float
) -> None:
    bar = scale_bar(a_measurement(mm_per_px=mm_per_px), 600, unit=unit)
    assert bar is not None
    assert bar.text == text
    assert bar.length_px == pytest.approx(length_px, rel=1e-9)  # rounding of doubles


def test_a_refused_photo_has_no_scale_bar() -> None:
    refused = {**a_measurement(), "quality": {"usable": False, "checks": []}}
    assert scale_bar(refused, 600) is None
    usable = {**a_measurement(), "quality": {"usable": True, "checks": []}}
    assert scale_bar(usable, 600) is not None


def test_the_scale_bar_in_the_picture_has_its_length() -> None:
    shown = overlay(a_photo(), a_measurement(mm_per_px=0.05))
    black = (shown[-40:, :200] == 0).all(axis=2)
    longest = max(np.count_nonzero(row[20:-20]) for row in black[5:-8])
    bar = scale_bar(a_measurement(mm_per_px=0.05), 600)
    assert bar is not None
    assert longest >= bar.length_px - 15  # the frame's sides and the label are outside


def test_hatching_stays_inside_and_covers_a_square() -> None:
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    lines = hatch_lines(square, 2.0)
    ends = np.vstack(lines)
    assert ends.min() >= -1e-9  # rounding of doubles
    assert ends.max() <= 10 + 1e-9
    # Lines y = x + c for c = -8, -6 .. 8: lengths sqrt(2) (10 - |c|).
    lengths = sorted(np.hypot(*(b - a)) for a, b in lines)
    expected = sorted(np.sqrt(2) * (10 - abs(c)) for c in range(-8, 9, 2))
    assert lengths[-len(expected) :] == pytest.approx(expected, abs=1e-9)


def test_labels_overlap_neither_each_other_nor_the_marks_where_there_is_room() -> None:
    at = [(100.0 + 3 * i, 200.0) for i in range(20)]
    wanted = [Wanted(text=str(i), at=p, size=(40, 12)) for i, p in enumerate(at)]
    marks = boxes_along(np.array([[80.0, 200.0], [200.0, 200.0]]), 4.0)
    placed = place_labels(wanted, (600, 400), taken=no_boxes(), marks=marks)
    boxes = [p.box for p in placed]
    for i, a in enumerate(boxes):
        assert a[0] >= 0
        assert a[2] <= 600
        for b in (*boxes[:i], *marks):
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_every_finding_is_labelled_even_where_there_is_no_room() -> None:
    wanted = [Wanted(text=str(i), at=(20.0, 20.0), size=(30, 12)) for i in range(50)]
    placed = place_labels(wanted, (60, 40), taken=no_boxes(), marks=no_boxes())
    assert [p.text for p in placed] == [str(i) for i in range(50)]


def test_lines_and_outlines_both_become_marks_and_labels() -> None:
    outline = [[10, 10], [50, 10], [50, 40]]
    measurement = a_measurement(
        a_finding("crack-1", "crack", lines_px=[[[0, 0], [9, 9]], [[5, 5], [9, 0]]]),
        a_finding("crumbling-1", "crumbling", polygon_px=outline),
        a_finding("lost", "crack"),
    )
    marks = list(finding_marks(measurement))
    assert [(m.style, m.closed) for m in marks] == [
        ("crack", False), ("crack", False), ("crumbling", True),
    ]  # fmt: skip
    assert [lb.text for lb in finding_labels(measurement)] == ["crack-1", "crumbling-1"]


def test_a_hostile_name_is_drawn_and_not_run() -> None:
    name = "<b>x</b> \u202e😀" + "W" * 300
    crack = a_finding(name, "crack", lines_px=[[[100, 200], [300, 200]]])
    assert overlay(a_photo(), a_measurement(crack)).shape == (400, 600, 3)


def test_a_close_up_shows_the_same_pixels_and_the_same_place() -> None:
    photo = np.random.default_rng(3).integers(0, 255, (3000, 4000, 3), dtype=np.uint8)
    crack = a_finding("crack-1", "crack", lines_px=[[[1000.5, 2000], [1700, 2040]]])
    patch = a_finding("c-2", "crumbling", polygon_px=[[1200, 1900], [1300, 1900], [1300, 1950]])
    found = close_up(photo, a_measurement(crack, patch))
    assert found is not None
    pixels, moved = found
    (x, y) = moved["findings"][0]["lines_px"][0][0]
    start_x, start_y = round(1000.5 - x), round(2000 - y)
    height, width = pixels.shape[:2]
    assert (pixels == photo[start_y : start_y + height, start_x : start_x + width]).all()
    assert (1000.5 - x, 2000 - y) == (start_x, start_y)  # whole pixels: nothing is resampled
    for mark in finding_marks(moved):
        assert (mark.points_px >= 0).all()
        assert (mark.points_px <= [width - 1, height - 1]).all()


def test_no_close_up_without_findings_or_of_the_whole_photo() -> None:
    assert close_up(a_photo(), a_measurement()) is None
    wide = a_finding("crack-1", "crack", lines_px=[[[5, 200], [590, 200]]])
    assert close_up(a_photo(), a_measurement(wide)) is None


def test_a_close_up_of_a_finding_at_the_very_corner_stays_in_the_photo() -> None:
    for corner in ([0, 0], [1999, 0], [0, 1499], [1999, 1499]):
        speck = a_finding("crack-1", "crack", lines_px=[[corner, corner]])
        found = close_up(a_photo(2000, 1500), a_measurement(speck))
        assert found is not None
        assert min(found[0].shape[:2]) > 1


def test_the_limit_of_turn_is_drawn_on_a_round_edge_only() -> None:
    surface = {"px_to_mm": np.diag([0.1, 0.1, 1.0]).tolist(), "radius_mm": 20.0,
               "facing_mm": 30.0}  # fmt: skip
    plain = a_measurement()
    plain |= {"scale": {"mm_per_px": 0.1, "surface": surface}}
    plain |= {"photo": {"width": 600, "height": 400}}
    left, right = turn_lines_px(plain)
    # parallel view: x = R sin(50 deg) from the facing line, 10 px to the mm
    reach = 200 * np.sin(np.radians(50))
    assert np.allclose(left[:, 0], 300 - reach)
    assert np.allclose(right[:, 0], 300 + reach)
    assert kinds_in(plain, {}) == ["too_far"]
    surface["radius_mm"] = None
    assert turn_lines_px(plain) == ()


def test_rubber_that_could_not_be_judged_is_drawn_and_named() -> None:
    corners = [[100, 100], [300, 100], [300, 200], [100, 200]]
    plain = a_measurement() | {"unjudged": [{"polygon_px": corners}]}
    assert kinds_in(plain, {}) == ["unjudged"]
    assert "could not be judged" in STYLES["unjudged"].name
    changed = (overlay(a_photo(), plain) != overlay(a_photo(), a_measurement())).any(axis=2)
    y, x = np.nonzero(changed)
    # half the line's width and its halo
    assert (x.min(), x.max()) == pytest.approx((100, 300), abs=4)
    assert (y.min(), y.max()) == pytest.approx((100, 200), abs=4)
