"""Lens profiles as files: round trips, turned photos, and what is no profile."""

import json
from pathlib import Path

import numpy as np
import pytest

from damagescore.errors import UsageError
from damagescore.measurement import MeasureOptions
from damagescore.scale import Lens, ScaleRequest, lens_text, read_lens
from tests.lens_samples import LENS, SIZE_PX


def test_a_profile_goes_through_its_file(tmp_path: Path) -> None:
    path = tmp_path / "lens.json"
    path.write_text(lens_text(LENS), encoding="utf-8")
    assert read_lens(path) == LENS
    assert json.loads(path.read_text())["schema"] == "damagescore/lens/1"


def test_options_with_a_lens_go_through_json() -> None:
    options = MeasureOptions(scale=ScaleRequest(lens=LENS))
    assert MeasureOptions.from_dict(json.loads(json.dumps(options.to_dict()))) == options


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"schema": "damagescore/lens/9"}, "its schema is 'damagescore/lens/9'"),
        ({"focal_px": "long"}, "focal_px is 'long'"),
        ({"focal_px": 1.0}, "focal_px is 1, outside 0.1 to 100 widths"),
        ({"distortion": [0.1, 0.2]}, "distortion is not 4 numbers"),
        ({"size_px": [900.5, 640]}, "no size of a photo"),
        ({"distance_mm": [0.0, 10.0]}, "distance_mm is not above 0"),
        ({"focal_mm": -5.0}, "focal_mm is -5.0"),
        ({"made": None}, "a name is not text"),
        ({"u_bend": float("nan")}, "u_bend is nan"),
    ],
)
def test_what_is_no_profile_is_said(change: dict[str, object], words: str) -> None:
    with pytest.raises(UsageError, match="This is no lens profile") as fault:
        Lens.from_dict(json.loads(lens_text(LENS)) | change)
    assert words in str(fault.value)


def test_a_file_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        read_lens(tmp_path / "none.json")
    (tmp_path / "list.json").write_text("[]", encoding="utf-8")
    with pytest.raises(UsageError, match="no lens profile"):
        read_lens(tmp_path / "list.json")


@pytest.mark.parametrize(("orientation", "quarters"), [(1, 0), (6, 1), (3, 2), (8, 3)])
def test_the_map_turns_with_the_photo(orientation: int, quarters: int) -> None:
    stored = np.array([[10.0, 20.0], [800.0, 600.0], [450.0, 320.0]])

    def turned(points: np.ndarray) -> np.ndarray:
        size = SIZE_PX
        for _ in range(quarters):  # a quarter turn to the right puts (x, y) at (h - 1 - y, x)
            points = np.column_stack([size[1] - 1 - points[:, 1], points[:, 0]])
            size = size[::-1]
        return points

    plain, upright = LENS.map_for(1), LENS.map_for(orientation)
    np.testing.assert_allclose(
        upright.to_ideal(turned(stored)), turned(plain.to_ideal(stored)), atol=1e-9
    )
