"""Job cards as printed: true size, and codes that are read at a slant and out of focus."""

import subprocess

import cv2
import numpy as np
import pytest

from damagescore.orders import JobCode, decode, encode, write_job_cards
from damagescore.orders.job_cards import CODE_MM, QUIET_MODULES, clock_words, code_modules
from damagescore.orders.qr import read_codes
from damagescore.scale.squares import find_squares
from tests.order_samples import NUMBER, sample_order

DPI = 600
PX_PER_MM = DPI / 25.4
CODE = JobCode(order=NUMBER, part_number="HV-1418", serial_number="0009", clock_hours=4.5)
TEXT = encode(CODE)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    """The page of the part with four clock positions, at 600 dpi."""
    folder = tmp_path_factory.mktemp("cards")
    files = write_job_cards(sample_order(), folder)
    assert len(files) == 3
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-gray", str(files[2]), str(folder / "page")], check=True
    )
    (image,) = folder.glob("page*.pgm")
    return np.asarray(cv2.imread(str(image), cv2.IMREAD_GRAYSCALE))


def test_squares_and_check_line_have_their_true_size(page: np.ndarray) -> None:
    found = find_squares(page.astype(np.float32))
    assert {s.id for s in found} == {40, 41}
    for square in found:
        # The renderer fills every pixel that an outline touches: up to one more than true.
        assert square.side_px / PX_PER_MM == pytest.approx(10.0, abs=1.2 / PX_PER_MM)
    line = np.flatnonzero((page[: round(62 * PX_PER_MM)] < 100).sum(axis=1) > 95 * PX_PER_MM)
    columns = np.flatnonzero(page[line[0]] < 100)
    length = (columns[-1] - columns[0] + 1) / PX_PER_MM
    assert length == pytest.approx(100.0, abs=2 / PX_PER_MM)  # a pixel at each end


def test_every_card_of_the_page_says_its_position(page: np.ndarray) -> None:
    half = cv2.resize(page, None, fx=0.33, fy=0.33, interpolation=cv2.INTER_AREA)
    codes = [decode(t) for t in read_codes(half[: len(half) * 2 // 3])]
    said = {c.clock_hours for c in codes if c is not None}
    assert said == {12.0, 3.0, 6.0, 9.0}


def photographed(
    *, px_per_mm: float, tilt_deg: float, turn_deg: float, blur_px: float
) -> np.ndarray:
    """The code of a card in a photo of a grey wall, seen by a pinhole at 20 code sizes."""
    modules = np.pad(code_modules(TEXT), QUIET_MODULES, constant_values=False)
    fine = np.where(np.kron(modules, np.ones((12, 12), bool)), 30, 220).astype(np.uint8)
    size, away = len(fine), 20.0
    tilt, turn = np.radians(tilt_deg), np.radians(turn_deg)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    flat = corners @ spin.T
    depth = away + flat[:, 0] * np.sin(tilt)
    seen = np.column_stack([flat[:, 0] * np.cos(tilt), flat[:, 1]]) * (away / depth)[:, None]
    target = (seen * CODE_MM * px_per_mm + 400).astype(np.float32)
    source = np.array([[0, 0], [size, 0], [size, size], [0, size]], np.float32)
    warp = cv2.getPerspectiveTransform(source, target)
    photo = cv2.warpPerspective(
        fine, warp, (800, 800), flags=cv2.INTER_AREA, borderValue=(120,)
    )
    if blur_px:
        photo = cv2.GaussianBlur(photo, (0, 0), blur_px)
    noise = np.random.default_rng(7).normal(0, 3, photo.shape)
    return np.clip(photo + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("tilt_deg", [0, 25, 40])
@pytest.mark.parametrize("turn_deg", [0, 17])
def test_a_code_is_read_at_a_slant(tilt_deg: float, turn_deg: float) -> None:
    photo = photographed(px_per_mm=15, tilt_deg=tilt_deg, turn_deg=turn_deg, blur_px=0.7)
    assert read_codes(photo) == (TEXT,)


@pytest.mark.parametrize("blur_px", [0.0, 1.5, 2.5])
def test_a_code_is_read_out_of_focus(blur_px: float) -> None:
    """A module is 7 px here: a blur whose radius is a third of it still leaves it apart."""
    photo = photographed(px_per_mm=15, tilt_deg=10, turn_deg=3, blur_px=blur_px)
    assert read_codes(photo) == (TEXT,)


def test_a_code_too_blurred_gives_nothing_rather_than_something_else() -> None:
    photo = photographed(px_per_mm=15, tilt_deg=10, turn_deg=3, blur_px=12.0)
    assert read_codes(photo) in ((), (TEXT,))
    assert read_codes(np.full((300, 400), 128, np.uint8)) == ()


def test_clock_words() -> None:
    assert [clock_words(h) for h in (None, 0, 12, 4.5)] == [
        "", "12 o'clock", "12 o'clock", "4:30 o'clock",
    ]  # fmt: skip
