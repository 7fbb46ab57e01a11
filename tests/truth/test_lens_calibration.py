"""A camera of known focal length and distortion, seen through boards, is found again."""

from dataclasses import replace

import numpy as np
import pytest

from damagescore.errors import CalibrationError
from damagescore.photo.record import CameraFacts
from damagescore.scale.calibrate import calibrate, view_of
from damagescore.scale.calibration_rule import judge
from damagescore.scale.lens import Lens
from tests.lens_boards import (
    CAMERA,
    CENTRE_PX,
    DISTORTION,
    FOCAL_PX,
    SIZE_PX,
    drawn_photo,
    poses,
    seen_px,
    views,
)

TRIALS = 24


@pytest.fixture(scope="module")
def calibrated():
    """Calibrations of one camera over noise; each with its own boards."""
    return [calibrate(views(np.random.default_rng(seed))) for seed in range(TRIALS)]


def scores(lens: Lens) -> np.ndarray:
    """Errors of f, centre and distortion in units of the claimed u, shape (7,)."""
    found = np.array([lens.focal_px, *lens.centre_px, *lens.distortion])
    claimed = np.array([lens.u_focal_px, *lens.u_centre_px, *lens.u_distortion])
    return (found - [FOCAL_PX, *CENTRE_PX, *DISTORTION]) / claimed


def test_the_camera_is_found_within_its_uncertainty(calibrated):
    rms = np.sqrt(np.mean([scores(c.lens) ** 2 for c in calibrated], axis=0))
    # the rms of 24 normal draws scatters by 1/sqrt(48) = 14 %: three of that about 1
    assert np.all(rms < 1.45)
    assert np.all(rms > 0.55)


def test_the_corner_is_bent_as_claimed(calibrated):
    errors = []
    for found in calibrated:
        lens = found.lens
        true = replace(lens, distortion=DISTORTION)
        errors.append((lens.corner_bend - true.corner_bend) / lens.u_bend)
    assert 0.55 < np.sqrt(np.mean(np.square(errors))) < 1.45  # as above


def test_a_good_calibration_passes_every_check(calibrated):
    assert all(c.passed for c in judge(calibrated[0]))
    lens = calibrated[0].lens
    assert (lens.photos, lens.size_px, lens.camera) == (12, SIZE_PX, "Sample A, 5 mm")
    # 0.2 px in x and y make 0.28 px together; 600 corners tell that to 3 %
    assert lens.rms_px == pytest.approx(0.2 * np.sqrt(2), rel=0.08)


@pytest.fixture(scope="module")
def drawn():
    """A photo of a board, and its pose."""
    axis, place = poses(8, np.random.default_rng(1))[0]
    return drawn_photo(axis, place), axis, place


def test_corners_of_a_drawn_board_lie_where_they_were_put(drawn):
    photo, axis, place = drawn
    view = view_of(photo)
    board = np.column_stack([view.board_mm, np.zeros(len(view.board_mm))])
    errors = view.corners_px - seen_px(board, axis, place)
    assert len(errors) > 40
    assert np.sqrt(np.mean(errors**2)) < 0.08  # noise of 2 levels and the print's own steps


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_a_photo_that_was_turned_upright_gives_the_same_corners(drawn, orientation):
    plain, _, _ = drawn
    turns = {3: 2, 6: -1, 8: 1}[orientation]  # np.rot90 turns to the left
    turned = replace(
        plain, grey=np.ascontiguousarray(np.rot90(plain.grey, turns)),
        camera=replace(CAMERA, orientation=orientation),
    )  # fmt: skip
    first, second = view_of(plain), view_of(turned)
    assert second.size_px == SIZE_PX
    found = {tuple(b): p for b, p in zip(second.board_mm, second.corners_px, strict=True)}
    pairs = [(p, found[tuple(b)]) for b, p in zip(first.board_mm, first.corners_px, strict=True)
             if tuple(b) in found]  # fmt: skip
    assert len(pairs) > 40
    assert np.max([np.abs(p - q) for p, q in pairs]) < 0.05  # the search starts elsewhere


def refusal(found) -> str:
    return " ".join(c.message for c in judge(found) if not c.passed)


def test_too_few_photos_are_refused():
    rng = np.random.default_rng(5)
    assert "The board shows well in 5 photos; 8 are the least" in refusal(
        calibrate(views(rng, count=5))
    )
    with pytest.raises(CalibrationError, match="found in 2 of 2"):
        calibrate(views(rng, count=2))


def test_boards_all_alike_are_refused():
    flat = calibrate(views(np.random.default_rng(2), tilt_deg=8.0))
    assert "differ in tilt by up to" in refusal(flat)


def test_boards_in_the_middle_only_are_refused():
    small = calibrate(views(np.random.default_rng(2), away_mm=700.0))
    assert "of the photo's field; 60 % are the least" in refusal(small)


def test_a_bent_board_is_refused():
    bent = []
    for view in views(np.random.default_rng(3)):
        bow = 4.0 * np.sin(view.board_mm[:, 0] / 20)[:, None]
        bent.append(replace(view, corners_px=view.corners_px + bow))
    assert "px (root mean square) off; 0.50 px is the most" in refusal(calibrate(bent))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"size_px": (1500, 2000)}, "different sizes: 1500 x 2000 px, 2000 x 1500 px"),
        ({"camera": CameraFacts(model="Sample B", focal_mm=5.0)}, "different cameras"),
        ({"camera": replace(CAMERA, focal_mm=7.0)}, "different focal lengths: 5 mm, 7 mm"),
    ],
)
def test_mixed_photos_are_refused(change, words):
    mixed = views(np.random.default_rng(4))
    mixed[3] = replace(mixed[3], **change)
    with pytest.raises(CalibrationError, match=words):
        calibrate(mixed)


def test_one_spoilt_photo_is_left_out_and_named():
    spoilt = views(np.random.default_rng(6))
    rng = np.random.default_rng(7)
    shaken = spoilt[4].corners_px + 3 * rng.standard_normal(spoilt[4].corners_px.shape)
    spoilt[4] = replace(spoilt[4], corners_px=shaken)
    found = calibrate(spoilt)
    assert [v.name for v in found.views if not v.used] == ["board-04"]
    assert np.abs(scores(found.lens)).max() < 4  # seven draws of a normal stay below 4


def test_a_mirrored_photo_is_refused(drawn):
    photo, _, _ = drawn
    mirrored = replace(photo, camera=replace(CAMERA, orientation=2))
    with pytest.raises(CalibrationError, match="stored mirrored"):
        view_of(mirrored)
