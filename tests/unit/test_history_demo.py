"""The demonstration part in demo_images is whole, and fits its plan."""

import json
from itertools import pairwise
from pathlib import Path

import pytest

from damagescore.endurance.plan import read_plan
from damagescore.scenes.series import HISTORY_HOURS

FOLDER = Path(__file__).parents[2] / "demo_images" / "history"


def test_every_inspection_has_its_photo_and_truth() -> None:
    (part,) = read_plan(FOLDER / "history.toml", fewest=1).parts
    assert [x.hours for x in part.looks] == list(map(float, HISTORY_HOURS))
    assert all(x.path.is_file() for x in part.looks)
    days = [x.day for x in part.looks]
    assert days == sorted(days)
    truths = [json.loads(x.path.with_suffix(".json").read_text()) for x in part.looks]
    growing = [next(c["length_mm"] for c in t["cracks"] if c["layer"] == 4) for t in truths]
    # 1.15 times as long each time; a cut path turns a little less than the whole
    assert [b / a for a, b in pairwise(growing)] == pytest.approx([1.15] * 7, rel=0.01)
