"""The command `calibrate` and the option `--lens`: what is printed, written and refused."""

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from damagescore.cli import main
from tests.lens_boards import drawn_photo, poses


@pytest.fixture(scope="module")
def boards(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three photos of the board: enough to calibrate, too few to be trusted."""
    folder = tmp_path_factory.mktemp("boards")
    for number, (axis, place) in enumerate(poses(3, np.random.default_rng(1))):
        picture = drawn_photo(axis, place, seed=number).rgb
        Image.fromarray(picture).save(folder / f"board_{number}.png", compress_level=1)
    return folder


def test_a_poor_calibration_is_printed_but_not_written(
    boards: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "lens.json"
    code = main(["calibrate", str(boards), "--out", str(out), "--square-side", "14.02"])
    said = capsys.readouterr()
    plain = json.loads(said.out)
    assert code == 3
    assert not out.exists()
    assert plain["schema"] == "damagescore/calibration/1"
    assert plain["usable"] is False
    assert plain["lens"]["schema"] == "damagescore/lens/1"
    assert [p["used"] for p in plain["photos"]] == [True, True, True]
    assert "The board shows well in 3 photos; 8 are the least" in said.err
    # found all the same: 2900 px by three photos to 1 %
    assert plain["lens"]["focal_px"] == pytest.approx(2900.0, rel=0.01)


def test_photos_without_a_board_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Image.fromarray(np.full((300, 400), 128, np.uint8)).save(tmp_path / "grey.png")
    out = str(tmp_path / "lens.json")
    assert main(["calibrate", str(tmp_path / "grey.png"), "--out", out]) == 3
    assert "The board was found in 0 of 1 photo," in capsys.readouterr().err


def test_a_lens_that_is_no_profile_is_a_wrong_usage(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = tmp_path / "grey.png"
    Image.fromarray(np.full((300, 400), 128, np.uint8)).save(photo)
    assert main(["measure", str(photo), "--lens", str(tmp_path / "none.json")]) == 2
    assert "cannot be read" in capsys.readouterr().err
