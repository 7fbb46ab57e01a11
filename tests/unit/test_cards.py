"""The printable cards: true size on paper, and found again in a picture of the page."""

import shutil
import subprocess
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from damagescore.scale import ScaleRequest, find_scale, write_cards
from damagescore.scale.cards import OWN_SIDES_MM, cards
from tests.scale_renders import photo_of_light

DPI = 600
PX_PER_MM = DPI / 25.4


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("cards")
    write_cards(path)
    return path


@pytest.fixture(scope="module")
def part(folder):
    """A function that photographs a part of the page at `DPI`."""
    if shutil.which("pdftocairo") is None:
        pytest.skip("no PDF renderer here")

    def photograph(*, top_mm, height_mm, width_mm):
        columns, rows = (str(round(x * PX_PER_MM)) for x in (width_mm, height_mm))
        box = ["-x", "0", "-y", str(round(top_mm * PX_PER_MM)), "-W", columns, "-H", rows]
        name = f"part{round(top_mm)}"
        ways = ["-r", str(DPI), "-gray", "-png", "-singlefile", *box]
        command = ["pdftocairo", *ways, "scale_cards.pdf", name]
        subprocess.run(command, cwd=folder, check=True)
        with Image.open(folder / f"{name}.png") as image:
            # the renderer writes the covered share of each pixel: that is light
            share = np.asarray(image.convert("L"), np.float64) / 255
        return photo_of_light(0.04 + 0.7 * share)

    return photograph


@pytest.mark.parametrize(
    ("top_mm", "height_mm", "ids"), [(62.0, 34.0, {40, 41}), (100.0, 20.0, {42, 43})]
)
def test_own_card_is_recognised_at_true_size(part, top_mm, height_mm, ids):
    scale = find_scale(part(top_mm=top_mm, height_mm=height_mm, width_mm=140.0), ScaleRequest())
    assert scale.method == "card"
    assert {m.id for m in scale.marks} == ids
    for mark in scale.marks:
        assert mark.size_mm == OWN_SIDES_MM[mark.id]
        # 0.05 % of the 10 mm side is 0.1 px here; the 5 mm side gets the same share of a px
        tolerance = 0.0005 * 10 / mark.size_mm
        assert mark.mm_per_px * PX_PER_MM == pytest.approx(1, rel=tolerance)


def test_distance_between_the_squares_is_true(part):
    scale = find_scale(part(top_mm=62, height_mm=34, width_mm=140), ScaleRequest())
    left, right = (m.corners_px.mean(axis=0) for m in scale.marks)
    assert np.hypot(*(right - left)) / PX_PER_MM == pytest.approx(88.0, rel=0.0005)


def test_dots_card_is_read(part):
    request = ScaleRequest(kind="two_dots", size_mm=40.0)
    scale = find_scale(part(top_mm=124, height_mm=24, width_mm=100), request)
    assert scale.mm_per_px * PX_PER_MM == pytest.approx(1, rel=0.0005)


def test_graduations_of_the_strip_are_read(part):
    request = ScaleRequest(kind="rule", size_mm=1.0)
    scale = find_scale(part(top_mm=62, height_mm=34, width_mm=140), request)
    assert scale.mm_per_px * PX_PER_MM == pytest.approx(1, rel=0.0005)
    assert scale.marks[0].size_mm == 50.0


def test_check_line_is_100_mm(part):
    strip = part(top_mm=85.3, height_mm=3.4, width_mm=140).grey
    full = np.flatnonzero((strip < 128).mean(axis=0) > 0.9)  # only the end strokes are so tall
    length_mm = (full.max() + 1 - full.min()) / PX_PER_MM
    assert length_mm == pytest.approx(100.0, abs=2 / PX_PER_MM)  # a pixel at each end


def test_page_tells_how_to_check_the_print(folder):
    text = subprocess.run(
        ["pdftotext", "-layout", "scale_cards.pdf", "-"],
        cwd=folder, check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    for words in ("100 %", "calliper", "0.2 mm", "100.0 mm"):
        assert words in text


def test_svg_is_well_formed_and_true_to_size(folder):
    for card in cards():
        root = ET.parse(folder / f"{card.name}.svg").getroot()
        assert root.get("width") == f"{card.width}mm"
        assert root.get("viewBox") == f"0 0 {card.width} {card.height}"
        assert len(list(root)) > len(card.boxes)


def test_nothing_is_printed_outside_the_card():
    for card in cards():
        for box in card.boxes:
            assert box.x >= 0
            assert box.x + box.width <= card.width
            assert box.y >= 0
            assert box.y + box.height <= card.height
